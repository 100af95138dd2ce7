package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

// answer is what a message is answered with: its JSON is that of
// POST /v1/messages and is stored, so that the same id gets the same bytes.
type answer struct {
	Conversation string            `json:"conversation"`
	InReplyTo    string            `json:"in_reply_to,omitempty"`
	Lang         string            `json:"lang,omitempty"` // of the replies
	Replies      []reply           `json:"replies"`
	Prompt       dialog.PromptView `json:"prompt"`
	Advice       []dialog.Advice   `json:"advice,omitempty"`
	Verdict      *dialog.Verdict   `json:"verdict,omitempty"`
}

// reply is one message to the person.
type reply struct {
	ID      string    `json:"id"`
	Text    string    `json:"text"`
	Caution bool      `json:"caution,omitempty"`
	Choices []string  `json:"choices,omitempty"`
	Media   []media   `json:"media,omitempty"`
	Expires time.Time `json:"expires,omitzero"` // not to be shown after it
	Expired bool      `json:"expired,omitempty"`
}

// media is a picture that goes with a reply.
type media struct {
	URL  string `json:"url"`
	Type string `json:"type"`
	Alt  string `json:"alt"`
}

// mediaPath is where pictures are fetched.
const mediaPath = "/v1/media/"

// picturePath is where they are fetched by the link in a text message.
const picturePath = "/picture/"

// keepDrawing is how long a picture without an expiry of its own can be had:
// as long as the answer that names it.
const keepDrawing = store.KeepIDs

// newAnswer words a turn as an answer to a message, and returns the documents
// of its pictures, which go into the same commit.
func newAnswer(shop, conversation, id string, t dialog.Turn, token func() string, now time.Time) (answer, []store.Doc) {
	a := answer{Conversation: conversation, InReplyTo: id, Lang: t.Lang, Replies: []reply{},
		Prompt: t.Prompt, Advice: t.Advice, Verdict: t.Verdict}
	var drawings []store.Doc
	for i, r := range t.Replies {
		out := reply{ID: replyID(id, i+1), Text: r.Text, Caution: r.Caution, Choices: r.Choices, Expires: r.Expires.UTC()}
		if r.Drawing != nil {
			d, m := newDrawing(shop, *r.Drawing, r.Expires, token, now)
			drawings, out.Media = append(drawings, d), []media{m}
		}
		a.Replies = append(a.Replies, out)
	}
	return a, drawings
}

// replyID is the id of the nth reply to a message: m-102 gives r-102-1.
func replyID(id string, n int) string {
	return fmt.Sprintf("r-%s-%d", strings.TrimPrefix(id, "m-"), n)
}

// newDrawing returns the document of a picture and how a reply names it. The
// token carries the shop, so that the picture is found without a directory.
func newDrawing(shop string, d dialog.Drawing, expires time.Time, token func() string, now time.Time) (store.Doc, media) {
	id := token()
	if end := now.Add(keepDrawing); expires.IsZero() || expires.After(end) {
		expires = end
	}
	return store.Doc{Kind: store.KindDrawing, ID: id, Body: encode(d), Expires: expires},
		media{URL: mediaPath + shop + "." + id, Type: "image/png", Alt: d.Alt}
}

// withhold takes out of an answer what may no longer be shown at now: hands-on
// instructions rest on a saw that was unplugged when they were written. It
// reports whether there was anything.
func (a *answer) withhold(now time.Time) bool {
	gone := false
	for i, r := range a.Replies {
		if !r.Expires.IsZero() && !now.Before(r.Expires) {
			a.Replies[i] = reply{ID: r.ID, Expires: r.Expires, Expired: true}
			gone = true
		}
	}
	if gone {
		a.Prompt, a.Advice = dialog.PromptView{Kind: dialog.KindIdle}, nil
	}
	return gone
}

// encode writes a value of the program's own as JSON; that it can is a matter
// of its type.
func encode(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(fmt.Sprintf("bot: a %T has no JSON: %v", v, err))
	}
	return b
}
