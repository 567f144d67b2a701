package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"testing"
	"time"
)

// lockedBuffer is a buffer that several goroutines write to.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// testGate serves inner behind a gate at an address of this machine.
func testGate(t *testing.T, inner http.Handler) (addr, secret string, said *lockedBuffer) {
	t.Helper()
	l, loopback, err := listenDesk("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if !loopback {
		t.Error("127.0.0.1 is not taken for loopback")
	}
	said = &lockedBuffer{}
	g := &gate{secret: newSecret(), hosts: deskHosts(l.Addr()), inner: inner, log: &refusals{w: said, now: time.Now}, busy: make(chan struct{}, deskBusy)}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- serveDesk(ctx, l, g) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("the desk ended with %v", err)
		}
	})
	return l.Addr().String(), g.secret, said
}

func TestGate(t *testing.T) {
	inner := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		n, err := io.Copy(io.Discard, r.Body)
		if err != nil {
			http.Error(w, err.Error(), http.StatusRequestEntityTooLarge)
			return
		}
		fmt.Fprint(w, "in ", n)
	})
	addr, secret, said := testGate(t, inner)
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	type change func(*http.Request)
	header := func(k, v string) change { return func(r *http.Request) { r.Header.Set(k, v) } }
	host := func(h string) change { return func(r *http.Request) { r.Host = h } }
	mine := header("Cookie", deskCookie+"="+secret)
	own := header(deskSender, "1")
	for _, tt := range []struct {
		name, method, path string
		body               io.Reader
		changes            []change
		want               int
	}{
		{"own page", "GET", "/", nil, []change{mine}, 200},
		{"own post", "POST", "/x", strings.NewReader("hello"), []change{mine, own}, 200},
		{"own post with its origin", "POST", "/x", nil, []change{mine, own, header("Origin", "http://"+addr)}, 200},
		{"by the name localhost", "GET", "/", nil, []change{mine, host("localhost:" + addr[strings.LastIndex(addr, ":")+1:])}, 200},
		{"no secret", "GET", "/", nil, nil, 403},
		{"wrong secret", "GET", "/", nil, []change{header("Cookie", deskCookie+"=x")}, 403},
		{"wrong key in the address", "GET", "/?key=x", nil, nil, 403},
		{"another host", "GET", "/", nil, []change{mine, host("elsewhere.example")}, 421},
		{"another port", "GET", "/", nil, []change{mine, host("127.0.0.1:1")}, 421},
		{"another origin", "GET", "/", nil, []change{mine, header("Origin", "https://elsewhere.example")}, 403},
		{"origin null", "POST", "/x", nil, []change{mine, own, header("Origin", "null")}, 403},
		{"another site says the browser", "GET", "/", nil, []change{mine, header("Sec-Fetch-Site", "cross-site")}, 403},
		{"a form from another page", "POST", "/x", strings.NewReader("a=b"), []change{mine}, 403},
		{"up the folders", "GET", "/a/%2e%2e/%2e%2e/etc/passwd", nil, []change{mine}, 400},
		{"backslashes", "GET", "/a%5c..%5cb", nil, []change{mine}, 400},
		{"a zero byte", "GET", "/a%00b", nil, []change{mine}, 400},
		{"another method", "DELETE", "/", nil, []change{mine}, 405},
		{"a gigabyte", "POST", "/x", io.LimitReader(zeros{}, 1<<30), []change{mine, own}, 413},
		{"a gigabyte, announced", "POST", "/x", io.LimitReader(zeros{}, 1<<30), []change{mine, own, func(r *http.Request) { r.ContentLength = 1 << 30 }}, 413},
		{"a long header", "GET", "/", nil, []change{mine, header("X-Long", strings.Repeat("x", 1<<17))}, 431},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := http.NewRequest(tt.method, "http://"+addr+tt.path, tt.body)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range tt.changes {
				c(r)
			}
			resp, err := client.Do(r)
			if err != nil {
				if tt.want == 413 || tt.want == 431 { // the connection may be closed before all is sent
					return
				}
				t.Fatal(err)
			}
			defer resp.Body.Close()
			if resp.StatusCode != tt.want {
				t.Errorf("got %s, want %d", resp.Status, tt.want)
			}
			if tt.want != 431 {
				for k, want := range map[string]string{"Content-Security-Policy": deskPolicy, "X-Content-Type-Options": "nosniff", "Cache-Control": "no-store"} {
					if got := resp.Header.Get(k); got != want {
						t.Errorf("%s is %q, want %q", k, got, want)
					}
				}
			}
		})
	}
	if got := said.String(); strings.Contains(got, secret) || !strings.Contains(got, "plumbline: refused GET") {
		t.Errorf("told:\n%s", got)
	}

	resp, err := client.Get("http://" + addr + "/?key=" + secret)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	c := resp.Cookies()
	if resp.StatusCode != http.StatusSeeOther || resp.Header.Get("Location") != "/" || len(c) != 1 || !c[0].HttpOnly || c[0].SameSite != http.SameSiteStrictMode {
		t.Errorf("the address that is printed: got %s to %q with %v", resp.Status, resp.Header.Get("Location"), c)
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// TestGateCrowd asks a thousand times (ten thousand where everything is required) without the secret, a hundred at a time: all
// are refused, in a few lines.
func TestGateCrowd(t *testing.T) {
	addr, _, said := testGate(t, http.NotFoundHandler())
	const askers = 100
	times := 10
	if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
		times = 100
	}
	began := time.Now()
	var wg sync.WaitGroup
	bad := make(chan string, askers)
	for range askers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			client := &http.Client{Transport: &http.Transport{}}
			defer client.CloseIdleConnections()
			for range times {
				resp, err := client.Get("http://" + addr + "/")
				if err != nil {
					bad <- err.Error()
					return
				}
				resp.Body.Close()
				if resp.StatusCode != 403 {
					bad <- resp.Status
					return
				}
			}
		}()
	}
	wg.Wait()
	close(bad)
	for b := range bad {
		t.Error(b)
	}
	if n, most := strings.Count(said.String(), "\n"), (refusalsTold+1)*(int(time.Since(began)/time.Second)+2); n > most {
		t.Errorf("told in %d lines; want at most %d", n, most)
	}
}

func TestListenDesk(t *testing.T) {
	for _, addr := range []string{"", "8080", "elsewhere.example:80", "127.0.0.1:99999"} {
		if l, _, err := listenDesk(addr); err == nil {
			l.Close()
			t.Errorf("%q is taken", addr)
		}
	}
	l, loopback, err := listenDesk("0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if loopback {
		t.Error("0.0.0.0 is taken for loopback")
	}
	if _, _, err := listenDesk("127.0.0.1:" + l.Addr().String()[strings.LastIndex(l.Addr().String(), ":")+1:]); err == nil {
		t.Log("the system allows a loopback address beside the wildcard one")
	}
	var _ net.Listener = l
}
