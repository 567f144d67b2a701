package main

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"
)

// Bounds of the desk. The page belongs to one person on one machine, so they are generous for that and small for anything else.
const (
	deskMaxBody   = 16 << 20 // of what is sent to it; a passage is the largest thing
	deskMaxHeader = 16 << 10
	deskConns     = 128 // open at once, waiting ones included
	deskBusy      = 16  // requests worked on at once
	deskWait      = 5 * time.Second
	deskCookie    = "plumbline"
	deskSender    = "X-Plumbline" // a header that no page from elsewhere can send without asking first
)

// deskPolicy allows the page its own files and nothing else.
const deskPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self' blob:; connect-src 'self'; " +
	"form-action 'none'; base-uri 'none'; frame-ancestors 'none'"

// A gate stands before the desk and lets through only what its own page sends: to a name of this machine, from that page, with
// the secret that was in the address it was opened with. What it turns away is told in one line each, and counted where there is
// too much of it.
type gate struct {
	secret string
	hosts  map[string]bool // what the Host header may say, in lower case
	inner  http.Handler
	log    *refusals
	busy   chan struct{}
}

// newSecret returns 32 random bytes as text.
func newSecret() string {
	var b [32]byte
	if _, err := rand.Read(b[:]); err != nil {
		panic("no randomness: " + err.Error()) // crypto/rand promises that it never fails
	}
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// deskHosts lists the names under which a desk at addr may be asked for.
func deskHosts(addr net.Addr) map[string]bool {
	_, port, _ := net.SplitHostPort(addr.String())
	out := map[string]bool{}
	for _, h := range []string{"127.0.0.1", "localhost", "[::1]"} {
		out[h+":"+port] = true
	}
	out[strings.ToLower(addr.String())] = true
	return out
}

func (g *gate) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", deskPolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Cache-Control", "no-store")
	refuse := func(code int, why string) {
		g.log.add(r, code, why)
		if r.ContentLength != 0 { // the rest of it is not read
			h.Set("Connection", "close")
		}
		http.Error(w, why, code)
	}
	if !g.hosts[strings.ToLower(r.Host)] {
		refuse(http.StatusMisdirectedRequest, "this address is not the desk's")
		return
	}
	if o := r.Header.Get("Origin"); o != "" && !g.hosts[strings.TrimPrefix(strings.ToLower(o), "http://")] {
		refuse(http.StatusForbidden, "the request comes from another page")
		return
	}
	if s := r.Header.Get("Sec-Fetch-Site"); s != "" && s != "same-origin" && s != "none" {
		refuse(http.StatusForbidden, "the request comes from another page")
		return
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead && r.Method != http.MethodPost {
		h.Set("Allow", "GET, HEAD, POST")
		refuse(http.StatusMethodNotAllowed, "the desk takes GET, HEAD and POST")
		return
	}
	if strings.Contains(r.URL.Path, "..") || strings.ContainsAny(r.URL.Path, "\\\x00") {
		refuse(http.StatusBadRequest, "the path is none of the desk's")
		return
	}
	if r.URL.Path == "/" && r.Method == http.MethodGet {
		// The address that the program prints: the secret goes into a cookie and out of the address.
		if got := r.URL.Query().Get("key"); got != "" {
			if !g.is(got) {
				refuse(http.StatusForbidden, "the key in the address is not the one that plumbline desk printed")
				return
			}
			http.SetCookie(w, &http.Cookie{Name: deskCookie, Value: g.secret, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
			http.Redirect(w, r, "/", http.StatusSeeOther)
			return
		}
	}
	if c, err := r.Cookie(deskCookie); err != nil || !g.is(c.Value) {
		refuse(http.StatusForbidden, "open the desk with the whole address that plumbline desk printed")
		return
	}
	if r.Method == http.MethodPost && r.Header.Get(deskSender) == "" {
		refuse(http.StatusForbidden, "the request comes from another page")
		return
	}
	if r.ContentLength > deskMaxBody {
		refuse(http.StatusRequestEntityTooLarge, fmt.Sprintf("that is larger than %d MiB", deskMaxBody>>20))
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, deskMaxBody)
	select {
	case g.busy <- struct{}{}:
		defer func() { <-g.busy }()
	case <-time.After(deskWait):
		refuse(http.StatusServiceUnavailable, "too much is asked at once")
		return
	case <-r.Context().Done():
		return
	}
	g.inner.ServeHTTP(w, r)
}

func (g *gate) is(got string) bool {
	return subtle.ConstantTimeCompare([]byte(got), []byte(g.secret)) == 1
}

// refusals tells what was turned away: the first few of a second in a line each, the others in one line with their number.
type refusals struct {
	mu    sync.Mutex
	w     io.Writer
	now   func() time.Time
	since time.Time
	told  int
	more  int
}

const refusalsTold = 5 // lines a second

func (l *refusals) add(r *http.Request, code int, why string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if now := l.now(); now.Sub(l.since) >= time.Second {
		l.flush()
		l.since, l.told = now, 0
	}
	if l.told++; l.told > refusalsTold {
		l.more++
		return
	}
	path := r.URL.Path
	if len(path) > 60 {
		path = path[:60] + "…"
	}
	fmt.Fprintf(l.w, "plumbline: refused %s %q from %s: %d, %s\n", r.Method, path, r.RemoteAddr, code, why)
}

// flush tells how many more there were.
func (l *refusals) flush() {
	if l.more > 0 {
		fmt.Fprintf(l.w, "plumbline: refused %d more requests\n", l.more)
		l.more = 0
	}
}

// A crowded listener has at most so many connections open; the others wait in the system's queue.
type crowded struct {
	net.Listener
	places chan struct{}
}

func (c *crowded) Accept() (net.Conn, error) {
	c.places <- struct{}{}
	conn, err := c.Listener.Accept()
	if err != nil {
		<-c.places
		return nil, err
	}
	return &seated{Conn: conn, leave: sync.OnceFunc(func() { <-c.places })}, nil
}

type seated struct {
	net.Conn
	leave func()
}

func (s *seated) Close() error {
	defer s.leave()
	return s.Conn.Close()
}

// listenDesk opens the desk's address. Anything but loopback must be asked for with its numbers.
func listenDesk(addr string) (l net.Listener, loopback bool, err error) {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, false, fmt.Errorf("--listen %s: want an address and a port, as in 127.0.0.1:0", addr)
	}
	if host == "localhost" {
		host = "127.0.0.1"
	}
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return nil, false, fmt.Errorf("--listen %s: want the address in numbers, as in 127.0.0.1:0", addr)
	}
	l, err = net.Listen("tcp", net.JoinHostPort(host, port))
	if err != nil {
		return nil, false, fmt.Errorf("the desk can't be set up at %s: %w", addr, err)
	}
	return l, ip.IsLoopback(), nil
}

// serveDesk serves until ctx ends, then lets what is being answered finish.
func serveDesk(ctx context.Context, l net.Listener, g *gate) error {
	srv := &http.Server{
		Handler:           g,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      2 * time.Minute,
		IdleTimeout:       time.Minute,
		MaxHeaderBytes:    deskMaxHeader,
		ErrorLog:          log.New(io.Discard, "", 0), // broken connections are nobody's concern
	}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(&crowded{l, make(chan struct{}, deskConns)}) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	bye, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if err := srv.Shutdown(bye); err != nil {
		srv.Close()
	}
	g.log.mu.Lock()
	g.log.flush()
	g.log.mu.Unlock()
	if err := <-done; err != nil && !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}
