package web

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"strconv"
	"syscall"
	"time"

	"flowrigd/config"
)

// listenAgain is how often a port that could not be had is tried again.
const listenAgain = 2 * time.Second

// Listen takes the port. Run does it too; calling it first tells the address
// early and gives the error to the caller.
func (s *Server) Listen() error {
	if s.listener.Listener != nil {
		return nil
	}
	l, err := net.Listen("tcp", s.opt.Listen)
	if err != nil {
		return listenError(s.opt.Listen, err)
	}
	tcp, ok := l.Addr().(*net.TCPAddr)
	s.loopback = ok && tcp.IP.IsLoopback()
	if !s.loopback && s.tokens.Empty() {
		return errors.Join(s.openError(), l.Close())
	}
	s.listener.Listener = l
	return nil
}

// OnlyHere refuses an address at which others could reach a page that has no
// accounts, and no configuration file to make them with: the demonstration's.
func OnlyHere(listen string) error {
	host, port, err := net.SplitHostPort(listen)
	if err == nil {
		_, err = strconv.ParseUint(port, 10, 16)
	}
	if err != nil {
		return fmt.Errorf("%q: not an address with a port; write 127.0.0.1:8080", listen)
	}
	if !config.IsLoopback(host) {
		return fmt.Errorf("%s: demo serves this machine only; write 127.0.0.1:%s, or use `flowrigd run` with access tokens for other machines", listen, port)
	}
	return nil
}

// ErrOpen is why a daemon that other machines can reach does not listen.
var ErrOpen = errors.New("reachable from other machines, but there is no access token")

// openError says why nobody could be let in: the tokens cannot be read, or
// there are none.
func (s *Server) openError() error {
	if _, err := ListTokens(s.opt.TokensFile); err != nil && s.opt.TokensFile != "" {
		remedy := "mend it"
		if errors.Is(err, fs.ErrPermission) {
			remedy = "give the file to the user that runs flowrigd"
		}
		return fmt.Errorf("http.listen: %s: reachable from other machines, but the access tokens cannot be read: %w; %s, or listen on 127.0.0.1",
			s.opt.Listen, err, remedy)
	}
	file := s.opt.ConfigPath
	if file == "" {
		file = "FILE"
	}
	return fmt.Errorf("http.listen: %s: %w; make one with `flowrigd token add --config %s --role operate NAME`, "+
		"or listen on 127.0.0.1", s.opt.Listen, ErrOpen, file)
}

// windowsAddressInUse is WSAEADDRINUSE, which package syscall does not equate
// with EADDRINUSE.
const windowsAddressInUse = syscall.Errno(10048)

func listenError(address string, err error) error {
	remedy := "write an address of this machine as http.listen (or --listen)"
	var number syscall.Errno
	if errors.As(err, &number) {
		switch number {
		case syscall.EADDRINUSE, windowsAddressInUse:
			remedy = "another program has this port: stop it, or write another port as http.listen (or --listen)"
		case syscall.EACCES:
			remedy = "ports below 1024 belong to the administrator: write a higher one as http.listen (or --listen)"
		}
	}
	return fmt.Errorf("http.listen: %s: %w; %s", address, err, remedy)
}

// Addr is the address that Listen took, host:port.
func (s *Server) Addr() string {
	if s.listener.Listener == nil {
		return s.opt.Listen
	}
	return s.listener.Addr().String()
}

// URL is where a person opens the page; with a one-time key it is the link
// that makes the first who opens it an operator.
func (s *Server) URL() string {
	host, port, err := net.SplitHostPort(s.Addr())
	if err != nil {
		return ""
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
		host = "localhost"
	}
	url := "http://" + net.JoinHostPort(host, port) + "/"
	if s.opt.OneTimeKey != "" {
		url += "enter?key=" + s.opt.OneTimeKey
	}
	return url
}
