package matrix

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"image"
	_ "image/png" // for the size of a picture
	"net/http"
	"net/url"
	"strings"
	"time"

	"shimwright/bot/channel"
	"shimwright/bot/channel/wire"
)

const homeserver = "the homeserver"

// Send implements channel.Channel: the text, then each picture as an event of
// its own. Every event has a transaction id made from the message's, so the
// homeserver drops what an earlier attempt has already brought.
func (c *Channel) Send(ctx context.Context, to string, m channel.Message) error {
	if !strings.HasPrefix(to, "!") {
		return channel.Permanent("the address is not a room")
	}
	text, pictures := c.words(ctx, m)
	if err := c.event(ctx, to, m.ID, text); err != nil {
		return err
	}
	for i, p := range pictures {
		if err := c.show(ctx, to, m.ID+"/"+string(rune('1'+i)), p); err != nil {
			return err
		}
	}
	return nil
}

// event puts one event into a room, which is joined first where we are only
// invited.
func (c *Channel) event(ctx context.Context, room, id string, content any) error {
	body, err := json.Marshal(content)
	if err != nil {
		return channel.Permanent("message %s cannot be written as JSON", id)
	}
	path := "/_matrix/client/v3/rooms/" + url.PathEscape(room) + "/send/m.room.message/" + transactionID(id)
	code, err := c.call(ctx, http.MethodPut, path, nil, "application/json", body, nil)
	if code != "M_FORBIDDEN" {
		return final(code, err)
	}
	code, err = c.call(ctx, http.MethodPost, "/_matrix/client/v3/join/"+url.PathEscape(room), nil, "application/json", []byte("{}"), nil)
	if err != nil {
		return final(code, err)
	}
	code, err = c.call(ctx, http.MethodPut, path, nil, "application/json", body, nil)
	return final(code, err)
}

// Mark implements channel.Marker.
func (c *Channel) Mark(ctx context.Context, in channel.Inbound) error {
	if !strings.HasPrefix(in.Conversation, "!") || !strings.HasPrefix(in.ID, "$") {
		return nil
	}
	path := "/_matrix/client/v3/rooms/" + url.PathEscape(in.Conversation) + "/receipt/m.read/" + url.PathEscape(in.ID)
	_, err := c.call(ctx, http.MethodPost, path, nil, "application/json", []byte("{}"), nil)
	return err
}

// transactionID is the same for the same message, and safe in a path.
func transactionID(id string) string {
	h := sha256.Sum256([]byte(id))
	return "s" + hex.EncodeToString(h[:16])
}

// shown is a picture with its bytes.
type shown struct {
	channel.Media
	data []byte
}

// show uploads a picture and puts it into a room.
func (c *Channel) show(ctx context.Context, room, id string, p shown) error {
	var up struct {
		URI string `json:"content_uri"`
	}
	code, err := c.call(ctx, http.MethodPost, "/_matrix/media/v3/upload", url.Values{"filename": {"drawing.png"}}, p.Type, p.data, &up)
	if err != nil {
		return final(code, err)
	}
	if !strings.HasPrefix(up.URI, "mxc://") {
		return channel.Temporary("%s took a picture but did not say where it is", homeserver)
	}
	info := map[string]any{"mimetype": p.Type, "size": len(p.data)}
	if size, _, err := image.DecodeConfig(bytes.NewReader(p.data)); err == nil {
		info["w"], info["h"] = size.Width, size.Height
	}
	return c.event(ctx, room, id, map[string]any{"msgtype": "m.image", "body": p.Alt, "filename": "drawing.png",
		"url": up.URI, "info": info})
}

// call makes one call in our name. code is the homeserver's own error, "" when
// it gave none; out takes the answer, unless it is nil.
func (c *Channel) call(ctx context.Context, method, path string, query url.Values, kind string, body []byte, out any) (code string, err error) {
	if query == nil {
		query = url.Values{}
	}
	query.Set("user_id", c.user)
	req, err := http.NewRequest(method, c.home+path+"?"+query.Encode(), bytes.NewReader(body))
	if err != nil {
		return "", channel.Permanent("the address of %s cannot be called", homeserver)
	}
	as, _ := c.tokens()
	req.Header.Set("Authorization", "Bearer "+as)
	req.Header.Set("Content-Type", kind)
	a, err := c.wire.Do(ctx, req, homeserver)
	if err != nil {
		return understood(a, err)
	}
	if out == nil {
		out = &struct{}{}
	}
	if json.Unmarshal(a.Body, out) != nil {
		return "", &channel.SendError{Temporary: true, Unsure: true, Reason: homeserver + " answered with something else than JSON"}
	}
	return "", nil
}

// understood adds to a failed call what the homeserver says of it.
func understood(a wire.Answer, err error) (string, error) {
	var e *channel.SendError
	var said struct {
		Code  string  `json:"errcode"`
		After float64 `json:"retry_after_ms"` // before v1.10 the only place where it is said
	}
	if !errors.As(err, &e) || json.Unmarshal(a.Body, &said) != nil || !strings.HasPrefix(said.Code, "M_") || len(said.Code) > 60 {
		return "", err
	}
	e.Reason += " (" + said.Code + ")"
	if after := time.Duration(said.After) * time.Millisecond; said.Code == "M_LIMIT_EXCEEDED" && after > e.After {
		e.Temporary, e.After = true, min(after, wire.MaxPause)
	}
	return said.Code, e
}

// final is the error of a call that ends an attempt: a room that is gone, or
// that does not let us in, will not take the message later either.
func final(code string, err error) error {
	var e *channel.SendError
	if errors.As(err, &e) && (code == "M_FORBIDDEN" || code == "M_NOT_FOUND" || code == "M_TOO_LARGE") {
		e.Temporary = false
	}
	return err
}
