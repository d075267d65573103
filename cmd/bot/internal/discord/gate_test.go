package discord

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/bwmarrin/discordgo"
)

const secret = "interaction-secret-of-osier"

// far is the other end of the gate, in memory, so that time can be made up.
type far func(r *http.Request) *http.Response

func (f far) RoundTrip(r *http.Request) (*http.Response, error) {
	if a := f(r); a != nil {
		return a, nil
	}
	return nil, errors.New("the line broke")
}

// respond is an answer of the other end; headers are pairs.
func respond(status int, body string, headers ...string) *http.Response {
	a := &http.Response{StatusCode: status, Status: fmt.Sprint(status), Header: http.Header{}, Body: io.NopCloser(strings.NewReader(body))}
	for i := 0; i < len(headers); i += 2 {
		a.Header.Set(headers[i], headers[i+1])
	}
	if strings.HasPrefix(body, "{") {
		a.Header.Set("Content-Type", "application/json")
	}
	return a
}

// through is an api whose other end is f.
func through(t *testing.T, f far) (*api, *gate) {
	t.Helper()
	base, err := url.Parse("https://discord.test")
	if err != nil {
		t.Fatal(err)
	}
	g := newGate(base, f, &clock{})
	a, err := newAPI("token-of-osier", g)
	if err != nil {
		t.Fatal(err)
	}
	return a, g
}

func post(path string) call  { return call{method: http.MethodPost, path: path, body: struct{}{}} }
func fetch(path string) call { return call{method: http.MethodGet, path: path} }

// Every wait ends with the context, at once.
func TestGateObeysContexts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _ := through(t, func(*http.Request) *http.Response {
			return respond(200, "{}", "X-RateLimit-Remaining", "0", "X-RateLimit-Reset-After", "100")
		})
		if err := a.do(t.Context(), post("channels/1/messages"), nil); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
		defer cancel()
		began := time.Now()
		err := a.do(ctx, post("channels/1/messages"), nil)
		if waited := time.Since(began); !errors.Is(err, context.DeadlineExceeded) || waited != 100*time.Millisecond {
			t.Errorf("%v after %v", err, waited)
		}
	})
}

// A limit of one route holds that route alone, until it is over.
func TestGateWaitsForItsRoute(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		left := 2
		a, _ := through(t, func(r *http.Request) *http.Response {
			if strings.Contains(r.URL.Path, "/channels/2/") {
				return respond(200, "{}")
			}
			left--
			return respond(200, "{}", "X-RateLimit-Remaining", fmt.Sprint(max(left, 0)), "X-RateLimit-Reset-After", "5")
		})
		began := time.Now()
		for i, c := range []struct {
			path string
			at   time.Duration
		}{{"channels/1/messages", 0}, {"channels/1/messages", 0}, {"channels/2/messages", 0}, {"channels/1/messages/9/threads", 0}, {"channels/1/messages", 5 * time.Second}} {
			if err := a.do(t.Context(), post(c.path), nil); err != nil {
				t.Fatal(err)
			}
			if at := time.Since(began); at != c.at {
				t.Errorf("%d: %s went out after %v, want %v", i, c.path, at, c.at)
			}
		}
	})
}

// The documented global 429 has its time in the body alone, and Cloudflare's is
// a page. Both hold every route but the answers to interactions.
func TestGateGlobalPause(t *testing.T) {
	for name, refusal := range map[string]func() *http.Response{
		"json": func() *http.Response {
			return respond(429, `{"message":"You are being rate limited.","retry_after":2.5,"global":true}`)
		},
		"html": func() *http.Response {
			return respond(429, "<html>slow down</html>", "Content-Type", "text/html", "Retry-After", "3")
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var mu sync.Mutex
				var went []string
				began, first := time.Now(), true
				a, _ := through(t, func(r *http.Request) *http.Response {
					mu.Lock()
					defer mu.Unlock()
					if first {
						first = false
						return refusal()
					}
					went = append(went, fmt.Sprint(r.URL.Path, " ", time.Since(began)))
					return respond(200, "{}")
				})
				over := make(chan error, 1)
				go func() { over <- a.do(t.Context(), post("channels/1/messages"), nil) }()
				synctest.Wait()
				if err := a.do(t.Context(), post("interactions/7/"+secret+"/callback"), nil); err != nil {
					t.Error(err)
				}
				if err := a.do(t.Context(), fetch("channels/2"), nil); err != nil {
					t.Error(err)
				}
				if err := <-over; err != nil {
					t.Error(err)
				}
				wait := map[string]string{"json": "2.5s", "html": "3s"}[name]
				want := "[/api/v10/interactions/7/" + secret + "/callback 0s"
				if got := fmt.Sprint(went); !strings.HasPrefix(got, want) || strings.Count(got, " "+wait) != 2 {
					t.Errorf("went out: %s; want the interaction at once and two after %s", got, wait)
				}
			})
		})
	}
}

// 429 is tried five times more and no oftener; 5xx and broken lines are tried
// again only where that does no harm.
func TestGateTries(t *testing.T) {
	limited := func() *http.Response { return respond(429, `{"retry_after":1,"global":false}`) }
	broken := func() *http.Response { return nil }
	down := func() *http.Response { return respond(503, "down") }
	edits := func() *http.Response { return respond(429, `{"code":30046,"retry_after":60}`) } // too many of an old message
	odd := func() *http.Response { return respond(502, "down") }
	for _, c := range []struct {
		what  string
		call  call
		reply func() *http.Response
		tries int
	}{
		{"limited post", post("channels/1/messages"), limited, 1 + limitedTries},
		{"post to a server that is down", post("channels/1/messages"), down, 1},
		{"post through a gateway that is down", post("channels/1/messages"), odd, 1},
		{"post on a broken line", post("channels/1/messages"), broken, 1},
		{"post with a nonce", call{method: http.MethodPost, path: "channels/1/messages", safe: true}, down, 1 + brokenTries},
		{"put", call{method: http.MethodPut, path: "channels/1/messages/pins/2"}, broken, 1 + brokenTries},
		{"edit of an old message", call{method: http.MethodPatch, path: "channels/1/messages/2"}, edits, 1},
		{"patch", call{method: http.MethodPatch, path: "channels/1/messages/2"}, odd, 1 + brokenTries},
		{"what is not allowed", fetch("channels/1"), func() *http.Response { return respond(403, `{"code":50001,"message":"Missing Access"}`) }, 1},
	} {
		synctest.Test(t, func(t *testing.T) {
			tries := 0
			a, _ := through(t, func(*http.Request) *http.Response { tries++; return c.reply() })
			if err := a.do(t.Context(), c.call, nil); err == nil || tries != c.tries {
				t.Errorf("%s: %d tries, want %d: %v", c.what, tries, c.tries, err)
			}
		})
	}
}

// At 8,000 refused requests in ten minutes only interactions go out, until the
// ten minutes are over. Limits that others used up do not count.
func TestGateInvalidBudget(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		out, shared := 0, false
		a, _ := through(t, func(r *http.Request) *http.Response {
			out++
			switch {
			case shared:
				return respond(429, `{"retry_after":0.01}`, "X-RateLimit-Scope", "shared")
			case strings.Contains(r.URL.Path, "interactions"):
				return respond(200, "{}")
			}
			return respond(403, `{"code":50013}`)
		})
		for range invalidAllowed {
			_ = a.do(t.Context(), fetch("channels/1"), nil)
		}
		if out != invalidAllowed {
			t.Fatalf("%d went out, want %d", out, invalidAllowed)
		}
		if err := a.do(t.Context(), fetch("channels/1"), nil); !errors.Is(err, errBudget) || out != invalidAllowed {
			t.Errorf("one more: %v, %d out", err, out)
		}
		if err := a.do(t.Context(), post("interactions/7/"+secret+"/callback"), nil); err != nil {
			t.Errorf("an answer: %v", err)
		}
		time.Sleep(invalidWindow + 2*time.Minute)
		shared = true
		for range 2000 {
			var r *Refusal
			if err := a.do(t.Context(), fetch("channels/1"), nil); !errors.As(err, &r) {
				t.Fatalf("after the window: %v", err)
			}
		}
	})
}

// A refused token is not shown again; answers to interactions need none and send none.
func TestGateToken(t *testing.T) {
	out := 0
	a, _ := through(t, func(r *http.Request) *http.Response {
		out++
		if strings.Contains(r.URL.Path, "webhooks") {
			if r.Header.Get("Authorization") != "" {
				t.Error("the token was sent where it is not needed")
			}
			return respond(401, `{"code":50027,"message":"Invalid Webhook Token"}`)
		}
		if r.Header.Get("Authorization") != "Bot token-of-osier" {
			t.Errorf("authorization %q", r.Header.Get("Authorization"))
		}
		return respond(401, `{"code":0,"message":"401: Unauthorized"}`)
	})
	var r *Refusal
	if err := a.do(t.Context(), post("webhooks/1/"+secret), nil); !errors.As(err, &r) || r.Code != 50027 {
		t.Errorf("an interaction's token: %v", err)
	}
	if err := a.do(t.Context(), fetch("users/@me"), nil); !errors.As(err, &r) || r.Status != 401 {
		t.Errorf("the bot's: %v", err)
	}
	if err := a.do(t.Context(), fetch("users/@me"), nil); !errors.Is(err, ErrToken) || out != 2 {
		t.Errorf("once more: %v, %d out", err, out)
	}
}

// No error tells a token, whatever happens to the request.
func TestErrorsHoldNoSecret(t *testing.T) {
	for name, f := range map[string]far{
		"refused": func(*http.Request) *http.Response {
			return respond(404, `{"code":10062,"message":"Unknown interaction"}`)
		},
		"broken":  func(*http.Request) *http.Response { return nil },
		"down":    func(*http.Request) *http.Response { return respond(502, "down") },
		"limited": func(*http.Request) *http.Response { return respond(429, `{"retry_after":0.001}`) },
	} {
		for _, path := range []string{"interactions/7/" + secret + "/callback", "webhooks/7/" + secret + "/messages/@original"} {
			a, _ := through(t, f)
			err := a.do(t.Context(), post(path), nil)
			if err == nil {
				t.Errorf("%s: no error", name)
			}
			for e := err; e != nil; e = errors.Unwrap(e) {
				if text := fmt.Sprintf("%v %+v %#v", e, e, e); strings.Contains(text, secret) || strings.Contains(text, "token-of-osier") {
					t.Errorf("%s: %s", name, text)
				}
			}
		}
	}
	for _, text := range []string{fmt.Sprintf("%v %s %q %#v", Token("x-secret"), Token("x-secret"), Token("x-secret"), Token("x-secret"))} {
		if strings.Contains(text, "x-secret") {
			t.Error(text)
		}
	}
}

// Nothing is kept of an interaction once its limit is over.
func TestGateKeepsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, g := through(t, func(*http.Request) *http.Response {
			return respond(200, "{}", "X-RateLimit-Remaining", "4", "X-RateLimit-Reset-After", "1")
		})
		most := 0
		for i := range 5000 {
			if err := a.do(t.Context(), post(fmt.Sprintf("interactions/%d/%s%d/callback", i, secret, i)), nil); err != nil {
				t.Fatal(err)
			}
			time.Sleep(100 * time.Millisecond) // ten a second: ten limits hold at a time
			most = max(most, len(g.slots))
		}
		if most > 2*slotsBeforeTry {
			t.Errorf("%d limits were kept at a time", most)
		}
	})
}

// No more than 45 requests a second go out; answers to interactions do not count.
func TestGateEvenPace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _ := through(t, func(*http.Request) *http.Response { return respond(200, "{}") })
		began := time.Now()
		for i := range 2*perSecond + 1 {
			if err := a.do(t.Context(), fetch(fmt.Sprintf("channels/%d", i)), nil); err != nil {
				t.Fatal(err)
			}
			if err := a.do(t.Context(), post("interactions/7/"+secret+"/callback"), nil); err != nil {
				t.Fatal(err)
			}
		}
		if took := time.Since(began); took != 2*time.Second {
			t.Errorf("%d requests took %v, want 2s", 2*perSecond+1, took)
		}
	})
}

// A limit that cannot be read fails no answer, and a refusal tells where a body
// was wrong without telling the body (documentation, "Error Messages").
func TestGateOddAnswers(t *testing.T) {
	body := `{"code":50035,"message":"Invalid Form Body","errors":{"content":{"_errors":[{"code":"BASE_TYPE_MAX_LENGTH","message":"Must be 2000 or fewer in length."}]},
		"components":{"0":{"components":{"1":{"label":{"_errors":[{"code":"BASE_TYPE_REQUIRED","message":"x"}]}}}}}}}`
	a, _ := through(t, func(r *http.Request) *http.Response {
		if r.Method == http.MethodPost {
			return respond(400, body)
		}
		return respond(200, `{"id":"5"}`, "X-RateLimit-Remaining", "many", "X-RateLimit-Reset-After", "soon", "X-RateLimit-Reset", "late")
	})
	var out struct{ ID string }
	if err := a.do(t.Context(), fetch("channels/5"), &out); err != nil || out.ID != "5" {
		t.Errorf("%+v, %v", out, err)
	}
	const want = "discord: POST channels/5/messages: 400, code 50035: Invalid Form Body (components.0.components.1.label BASE_TYPE_REQUIRED; content BASE_TYPE_MAX_LENGTH)"
	if err := a.do(t.Context(), post("channels/5/messages"), nil); err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

func TestRoutes(t *testing.T) {
	for _, c := range []struct{ method, path, key, name string }{
		{"POST", "/api/v9/channels/1/messages", "POST/channels/1/messages", "POST channels/1/messages"},
		{"PATCH", "/api/v10/channels/1/messages/2", "PATCH/channels/1/messages/*", "PATCH channels/1/messages/*"},
		{"POST", "/api/v10/interactions/7/tok/callback", "POST/interactions/7/tok/callback", "POST interactions/7/*/callback"},
		{"PATCH", "/api/v10/webhooks/1/tok/messages/@original", "PATCH/webhooks/1/tok/messages/@original", "PATCH webhooks/1/*/messages/@original"},
		{"PUT", "/api/v10/applications/1/guilds/2/commands", "PUT/applications/1/guilds/*/commands", "PUT applications/1/guilds/*/commands"},
		{"GET", "/api/v10/gateway/bot", "GET/gateway/bot", "GET gateway/bot"},
	} {
		if r := routeOf(c.method, c.path); r.key != c.key || r.name != c.name {
			t.Errorf("%s: %+v, want %s and %s", c.path, r, c.key, c.name)
		}
	}
}

// Files go as a multipart body with the JSON first.
func TestFilesGoAlong(t *testing.T) {
	a, _ := through(t, func(r *http.Request) *http.Response {
		b, err := io.ReadAll(r.Body)
		first, second := strings.Index(string(b), `name="payload_json"`), strings.Index(string(b), `name="files[0]"`)
		if err != nil || first < 0 || second < first || !strings.Contains(string(b), "PICTURE") {
			t.Errorf("body %q, %v", b, err)
		}
		return respond(200, "{}")
	})
	c := call{method: http.MethodPost, path: "channels/1/messages", body: map[string]string{"content": "a"}, files: []*discordgo.File{{Name: "table.png", Reader: strings.NewReader("PICTURE")}}}
	if err := a.do(t.Context(), c, nil); err != nil {
		t.Error(err)
	}
}
