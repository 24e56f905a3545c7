package web

import (
	"crypto/subtle"
	"mime"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"
)

// oneTimeName is who acts through the one-time link.
const oneTimeName = "operator"

// oneTime is a key that opens one session, which lives as long as the process.
type oneTime struct {
	key  string
	mu   sync.Mutex
	used bool
}

// redeem is true for the key, the first time.
func (o *oneTime) redeem(key string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.key == "" || o.used || subtle.ConstantTimeCompare([]byte(key), []byte(o.key)) != 1 {
		return false
	}
	o.used = true
	return true
}

// signedIn is the person of a cookie; the zero person where it is not known,
// has run out, or its token has been removed.
func (s *Server) signedIn(cookie string) person {
	one, ok := s.sessions.find(cookie, time.Now())
	switch {
	case !ok:
		return person{}
	case one.token == hash{}:
		return person{oneTimeName, RoleOperate}
	}
	p, _ := s.holder(one.token)
	return p
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

func (s *Server) setCookie(w http.ResponseWriter, r *http.Request, value string, age time.Duration) {
	http.SetCookie(w, &http.Cookie{
		Name: s.cookieName(r), Value: value, Path: "/", MaxAge: int(age.Seconds()),
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: encrypted(r),
	})
}

// encrypted says whether the person's browser speaks TLS: with a proxy, that
// is, which says so in one of two headers.
func encrypted(r *http.Request) bool {
	first, _, _ := strings.Cut(r.Header.Get("X-Forwarded-Proto"), ",")
	return r.TLS != nil || strings.EqualFold(strings.TrimSpace(first), "https") ||
		strings.Contains(strings.ToLower(r.Header.Get("Forwarded")), "proto=https")
}

// begin opens a session in place of the one that the browser had.
func (s *Server) begin(w http.ResponseWriter, r *http.Request, token hash) {
	s.endSession(r)
	s.setCookie(w, r, s.sessions.begin(token, time.Now()), sessionAge)
}

func (s *Server) endSession(r *http.Request) {
	if c, err := r.Cookie(s.cookieName(r)); err == nil {
		s.sessions.end(c.Value)
	}
}

// enter redeems the one-time link and shows the page.
func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodHead { // a preview must not use the link up
		return
	}
	if !s.once.redeem(r.URL.Query().Get("key")) {
		refuse(w, http.StatusForbidden, "this link has been used, or is not the one that was printed; "+
			"the page at / can be read without it, and a token signs you in there")
		return
	}
	s.begin(w, r, hash{})
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

func (s *Server) session(_ http.ResponseWriter, r *http.Request) (any, error) {
	return reply(who(r)), nil
}

// signIn takes a token, as JSON or, where scripts are off, from the page's form, and
// sets the cookie.
func (s *Server) signIn(w http.ResponseWriter, r *http.Request) {
	var body struct {
		Token string `json:"token"`
	}
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	form := kind == "application/x-www-form-urlencoded"
	if !form {
		if err := readJSON(w, r, &body); err != nil {
			fail(w, err)
			return
		}
	} else {
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		if err := r.ParseForm(); err != nil || len(r.PostForm["token"]) != 1 {
			refuse(w, http.StatusBadRequest, "the form lacks its one field `token`; "+
				`a program sends {"token":"…"} with Content-Type: application/json`)
			return
		}
		body.Token = r.PostForm.Get("token")
	}
	token := hashOf(body.Token)
	p, ok := s.holder(token)
	if !ok {
		s.refusal(stranger, r, "no such token")
		refuse(w, http.StatusUnauthorized, "this token is not known here; `flowrigd token add` makes one")
		return
	}
	s.begin(w, r, token)
	if form {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	writeJSON(w, reply(p))
}

// signOut ends the session of the browser.
func (s *Server) signOut(w http.ResponseWriter, r *http.Request) (any, error) {
	s.endSession(r)
	s.setCookie(w, r, "", -time.Second)
	return sessionReply{}, nil
}
