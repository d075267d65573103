package discordtest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
)

// Echo connects the plainest client there can be: it answers every interaction at once
// with one body, the same each time, on bare websocket and net/http. How long its answer
// takes is the server's own share of every answer: the way over the gateway to a client
// and the way back by HTTP, with nothing done in between.
func (s *Server) Echo(tb testing.TB, body any) {
	tb.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		tb.Fatal(err)
	}
	ws, _, err := websocket.DefaultDialer.Dial(s.socket(), nil)
	if err != nil {
		tb.Fatal(err)
	}
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64}}
	tb.Cleanup(func() { _ = ws.Close(); client.CloseIdleConnections() })
	identify := map[string]any{"op": OpIdentify, "d": map[string]any{"token": Token, "intents": 1, "properties": map[string]any{}}}
	if err := ws.WriteJSON(identify); err != nil {
		tb.Fatal(err)
	}
	go func() {
		for {
			var e struct {
				Type string `json:"t"`
				Data struct {
					ID    string `json:"id"`
					Token string `json:"token"`
				} `json:"d"`
			}
			_, raw, err := ws.ReadMessage()
			if err != nil {
				return // the end of the test
			}
			if json.Unmarshal(raw, &e) == nil && e.Type == "INTERACTION_CREATE" {
				go echo(client, s.URL+"/api/v10/interactions/"+e.Data.ID+"/"+e.Data.Token+"/callback?with_response=true", b)
			}
		}
	}()
	s.Until("the echo is there", func() bool { return s.Lines().Sessions == 1 })
}

// echo answers one; an answer that does not come is missed by who waits for it.
func echo(client *http.Client, url string, body []byte) {
	r, err := client.Post(url, "application/json", bytes.NewReader(body))
	if err == nil {
		_, _ = io.Copy(io.Discard, r.Body)
		_ = r.Body.Close()
	}
}

// Times are how long answers took.
type Times []time.Duration

// At is the time within which a part of them came, 0.5 for the median.
func (t Times) At(part float64) time.Duration {
	slices.Sort(t)
	return t[int(part*float64(len(t)-1))]
}

// Load lets 50 people give n commands at 200 a second, each in a channel of their own, and gives the times
// until the server had the answers.
func (s *Server) Load(tb testing.TB, n int, data map[string]any) Times {
	took := make(Times, n)
	var all sync.WaitGroup
	tick := time.NewTicker(time.Second / 200)
	defer tick.Stop()
	for i := range n {
		<-tick.C
		all.Go(func() {
			who := Who{ID: fmt.Sprint(4194305000 + i%50), Name: "Ann", Guild: StageGuild, Channel: fmt.Sprint(4194304500 + i%50)}
			began := time.Now()
			s.Do(who, SlashCommand, data).Answer(tb.Context())
			took[i] = time.Since(began)
		})
	}
	all.Wait()
	return took
}
