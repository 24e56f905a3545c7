package web

import (
	"crypto/rand"
	"crypto/subtle"
	"mime"
	"net"
	"net/http"
	"sync"
	"time"
)

// oneTimeName is who acts through the one-time link.
const oneTimeName = "operator"

// oneTime is a key that can be redeemed once for a token that lives as long as
// the process.
type oneTime struct {
	key   string
	mu    sync.Mutex
	token string // "" until redeemed
}

// redeem gives the token for the key, the first time.
func (o *oneTime) redeem(key string) (string, bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.key == "" || o.token != "" || subtle.ConstantTimeCompare([]byte(key), []byte(o.key)) != 1 {
		return "", false
	}
	o.token = rand.Text()
	return o.token, true
}

func (o *oneTime) holds(token string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.token != "" && subtle.ConstantTimeCompare([]byte(token), []byte(o.token)) == 1
}

// cookieName has the port in it, since browsers share cookies between the
// ports of one host.
func (s *Server) cookieName(r *http.Request) string {
	_, port, err := net.SplitHostPort(r.Host)
	if err != nil {
		return "flowrig"
	}
	return "flowrig_" + port
}

// cookieAge is how long a browser stays signed in: a person far away must be
// able to act in the middle of the night without looking for the token.
const cookieAge = 30 * 24 * time.Hour

func (s *Server) setCookie(w http.ResponseWriter, r *http.Request, token string, age time.Duration) {
	http.SetCookie(w, &http.Cookie{
		Name: s.cookieName(r), Value: token, Path: "/", MaxAge: int(age.Seconds()),
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
	})
}

// enter redeems the one-time link and shows the page.
func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodHead { // a preview must not use the link up
		return
	}
	token, ok := s.once.redeem(r.URL.Query().Get("key"))
	if !ok {
		refuse(w, http.StatusForbidden, "this link has been used, or is not the one that was printed; "+
			"the page at / can be read without it, and a token signs you in there")
		return
	}
	s.setCookie(w, r, token, cookieAge)
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// sessionReply says who the page acts for; null is nobody.
type sessionReply struct {
	Name *string `json:"name"`
	Role *string `json:"role"`
}

func reply(p person) sessionReply {
	if p.role == "" {
		return sessionReply{}
	}
	return sessionReply{&p.name, &p.role}
}

func (s *Server) session(w http.ResponseWriter, r *http.Request) { writeJSON(w, reply(who(r))) }

// signIn takes a token, as JSON or from a plain form, and sets the cookie.
func (s *Server) signIn(w http.ResponseWriter, r *http.Request) {
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	form := kind == "application/x-www-form-urlencoded"
	var body struct {
		Token string `json:"token"`
	}
	if form {
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		body.Token = r.PostFormValue("token")
	} else if !readJSON(w, r, &body) {
		return
	}
	p, ok := s.holder(body.Token)
	if !ok {
		s.refusal(stranger, r, "no such token")
		refuse(w, http.StatusUnauthorized, "this token is not known here; `flowrigd token add` makes one")
		return
	}
	s.setCookie(w, r, body.Token, cookieAge)
	if form {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	writeJSON(w, reply(p))
}

// signOut forgets the cookie.
func (s *Server) signOut(w http.ResponseWriter, r *http.Request) {
	s.setCookie(w, r, "", -time.Second)
	writeJSON(w, sessionReply{})
}
