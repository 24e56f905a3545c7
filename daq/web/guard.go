package web

import (
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// person is who a request comes from; the zero value is nobody known.
type person struct{ name, role string }

// caller is what a request shows of its sender.
type caller struct {
	person
	wrong bool // it presents a token that is not known
}

type callerKey struct{}

// callerOf is what seat found.
func callerOf(r *http.Request) caller {
	c, _ := r.Context().Value(callerKey{}).(caller)
	return c
}

func who(r *http.Request) person { return callerOf(r).person }

// policy lets the page load from here alone and be framed by nobody.
const policy = "default-src 'self'; base-uri 'none'; object-src 'none'; form-action 'self'; frame-ancestors 'none'"

// guard sets the headers of every answer and turns away what a foreign web
// page could send through a person's browser.
func (s *Server) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin") // no-referrer would make a form's Origin null
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		if s.loopback && r.Host != "" && !isLoopback(r.Host) {
			// A foreign name that resolves to this machine (DNS rebinding).
			refuse(w, http.StatusMisdirectedRequest, "this daemon listens on loopback and answers to localhost alone, not to "+r.Host)
			return
		}
		if err := cross.Check(r); err != nil {
			s.refusal(foreignPage, r, err.Error())
			refuse(w, http.StatusForbidden, "the request comes from a web page of another site")
			return
		}
		// A page of another site that loads this from within could not read the answer,
		// but could keep the daemon busy. A link (navigate) is no such thing.
		site := r.Header.Get("Sec-Fetch-Site")
		if (site == "cross-site" || site == "same-site") && r.Header.Get("Sec-Fetch-Mode") != "navigate" {
			refuse(w, http.StatusForbidden, "a web page of another site cannot load this; open it by itself")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// isLoopback judges the name of a Host header, with or without a port.
func isLoopback(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = strings.Trim(hostport, "[]")
	}
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// local says whether a request needs no account to read: the daemon listens on
// loopback alone, and the request comes from this machine under its own name.
// What a proxy passes on comes from anywhere.
func (s *Server) local(r *http.Request) bool {
	if !s.loopback || r.Header.Get("X-Forwarded-For") != "" || r.Header.Get("Forwarded") != "" {
		return false
	}
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	return err == nil && from.Addr().Unmap().IsLoopback() && isLoopback(r.Host)
}

// admit says whether the role of who asks suffices; if not it has answered.
func (s *Server) admit(w http.ResponseWriter, r *http.Request, need string) bool {
	from := callerOf(r)
	switch {
	case need == "" || covers(from.role, need):
		return true
	case need == RoleWatch && s.local(r) && !from.wrong:
		return true
	case from.role != "":
		s.refusal(from.name, r, "role "+from.role+" may not")
		refuse(w, http.StatusForbidden, "the token of "+from.name+" has the role "+from.role+"; this needs the role "+need)
		return false
	}
	if need == RoleOperate {
		s.refusal(stranger, r, "no valid token")
	}
	w.Header().Set("WWW-Authenticate", `Bearer realm="flowrigd"`)
	refuse(w, http.StatusUnauthorized, "send `Authorization: Bearer TOKEN` with a token of the role "+need+
		"; `flowrigd token add` makes one")
	return false
}

// covers says whether a role includes another.
func covers(have, need string) bool {
	return have == RoleOperate || have == RoleWatch && need == RoleWatch
}

// identify reads the bearer token or, without one, the cookie.
func (s *Server) identify(r *http.Request) caller {
	if header := r.Header.Get("Authorization"); header != "" {
		scheme, token, _ := strings.Cut(header, " ")
		p, known := person{}, false
		if strings.EqualFold(scheme, "Bearer") {
			p, known = s.holder(hashOf(strings.TrimSpace(token)))
		}
		return caller{p, !known}
	}
	if c, err := r.Cookie(s.cookieName(r)); err == nil {
		return caller{person: s.signedIn(c.Value)}
	}
	return caller{}
}

// holder is who holds the token of this hash.
func (s *Server) holder(token hash) (person, bool) {
	t, ok := s.tokens.holder(token)
	return person{t.Name, t.Role}, ok
}
