package virtualsaw

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// Client speaks with the service by POST /v1/messages and nothing else.
type Client struct {
	URL  string
	HTTP *http.Client
	// Secret signs every message as Standard Webhooks 1.0.0 describes
	// (whsec_…); "": the messages of somebody at the service's own machine.
	Secret string
	Now    func() time.Time
}

// message is what is posted.
type message struct {
	ID           string `json:"id"`
	Conversation string `json:"conversation"`
	Sender       string `json:"sender,omitempty"`
	Text         string `json:"text"`
}

// Answer is what comes back: the fields of the public interface that a person
// at a saw needs.
type Answer struct {
	Replies []struct {
		Text    string   `json:"text"`
		Choices []string `json:"choices"`
	} `json:"replies"`
	Prompt  Prompt   `json:"prompt"`
	Advice  []Advice `json:"advice"`
	Verdict *Verdict `json:"verdict"`
}

// Text returns everything that the answer says.
func (a Answer) Text() string {
	var list []string
	for _, r := range a.Replies {
		list = append(list, r.Text)
	}
	return strings.Join(list, "\n")
}

// Place is a place on the machine.
type Place struct{ X, Y float64 }

// Prompt is the open question.
type Prompt struct {
	Kind        string   `json:"kind"`
	Name        string   `json:"name"`
	Job         string   `json:"job"`
	Quantity    string   `json:"quantity"`
	Unit        string   `json:"unit"`
	At          *Place   `json:"at"`
	Label       string   `json:"label"`
	Acknowledge string   `json:"acknowledge"`
	Choices     []string `json:"choices"`
	Tool        string   `json:"tool"`
	Side        string   `json:"side"`
	Turn        *float64 `json:"turn"`
	Set         int      `json:"set"`
	Tooth       int      `json:"tooth"`
	N           int      `json:"n"`
	Stop        *float64 `json:"stop"`
	Height      *float64 `json:"height"`
}

// Advice is one move.
type Advice struct {
	Part      string  `json:"part"`
	At        *Place  `json:"at"`
	Move      string  `json:"move"`
	Amount    float64 `json:"amount"`
	Unit      string  `json:"unit"`
	Direction string  `json:"direction"`
	Change    struct {
		X     float64  `json:"x"`
		Y     float64  `json:"y"`
		Z     float64  `json:"z"`
		Angle *float64 `json:"angle"`
	} `json:"change"`
}

// Verdict is what the service says of one characteristic.
type Verdict struct {
	Name        string   `json:"name"`
	Value       float64  `json:"value"`
	Uncertainty float64  `json:"uncertainty"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
	Decision    string   `json:"decision"`
}

// say posts a message and returns the answer.
func (c *Client) say(ctx context.Context, m message) (Answer, error) {
	var a Answer
	body, err := json.Marshal(m)
	if err != nil {
		return a, err
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, c.URL+"/v1/messages", bytes.NewReader(body))
	if err != nil {
		return a, err
	}
	r.Header.Set("Content-Type", "application/json")
	if c.Secret != "" {
		if err := c.sign(r.Header, m.ID, body); err != nil {
			return a, err
		}
	}
	res, err := c.HTTP.Do(r)
	if err != nil {
		return a, err
	}
	defer res.Body.Close()
	got, err := io.ReadAll(res.Body)
	if err != nil {
		return a, err
	}
	if res.StatusCode != http.StatusOK {
		return a, fmt.Errorf("the service answered %q with %s: %s", m.Text, res.Status, got)
	}
	return a, json.Unmarshal(got, &a)
}

// sign sets the headers of Standard Webhooks 1.0.0.
func (c *Client) sign(h http.Header, id string, body []byte) error {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(c.Secret, "whsec_"))
	if err != nil {
		return fmt.Errorf("the secret is not whsec_ and base64: %w", err)
	}
	at := strconv.FormatInt(c.Now().Unix(), 10)
	mac := hmac.New(sha256.New, key)
	fmt.Fprintf(mac, "%s.%s.%s", id, at, body)
	h.Set("webhook-id", id)
	h.Set("webhook-timestamp", at)
	h.Set("webhook-signature", "v1,"+base64.StdEncoding.EncodeToString(mac.Sum(nil)))
	return nil
}

// Direct is a transport that hands a request to a handler in the same process,
// for runs of many thousand conversations. To the handler it comes from
// loopback.
type Direct struct{ Handler http.Handler }

// RoundTrip implements http.RoundTripper.
func (d Direct) RoundTrip(r *http.Request) (*http.Response, error) {
	in := r.Clone(r.Context())
	in.RequestURI, in.RemoteAddr, in.Host = r.URL.RequestURI(), "127.0.0.1:1", r.URL.Host
	w := &recorder{header: http.Header{}, status: http.StatusOK}
	d.Handler.ServeHTTP(w, in)
	return &http.Response{Status: fmt.Sprintf("%d %s", w.status, http.StatusText(w.status)), StatusCode: w.status,
		Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1, Header: w.header, Body: io.NopCloser(&w.body), Request: r}, nil
}

// recorder keeps what a handler writes.
type recorder struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (w *recorder) Header() http.Header         { return w.header }
func (w *recorder) WriteHeader(status int)      { w.status = status }
func (w *recorder) Write(b []byte) (int, error) { return w.body.Write(b) }
