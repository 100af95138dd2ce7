package matrix

import (
	"errors"
	"testing"

	"shimwright/bot/channel"
)

// FuzzTransaction: whatever the homeserver brings, it is taken or refused with
// a reason, and what is taken says who said it where.
func FuzzTransaction(f *testing.F) {
	for _, s := range []string{
		`{"events":[{"event_id":"$1","type":"m.room.message","room_id":"!r:s","sender":"@kim:s","origin_server_ts":1,"content":{"msgtype":"m.text","body":"> a\n\n0.05","m.relates_to":{"m.in_reply_to":{"event_id":"$0"}}}}]}`,
		`{"events":[{"event_id":"$1","type":"m.room.message","room_id":"!r:s","sender":"@kim:s","origin_server_ts":1e300,"content":{"m.new_content":{"msgtype":"m.text","body":"x"},"m.relates_to":{"rel_type":"m.replace","event_id":"$0"}}}]}`,
		`{"events":[{"event_id":"$1","type":"m.room.member","room_id":"!r:s","sender":"@kim:s","state_key":"@shimwright:shop.test","content":{"membership":"invite"}}]}`,
		`{"events":[null,1,{"event_id":5},{"event_id":"$1","type":"m.sticker","room_id":"!r","sender":"@k"}]}`, `{"events":null}`, `[]`, `{`,
	} {
		f.Add([]byte(s))
	}
	c := open(f, options("http://127.0.0.1:9"))
	f.Fuzz(func(t *testing.T, body []byte) {
		list, err := c.transaction(body)
		if err != nil {
			if len(list) > 0 || !errors.As(err, new(*channel.RequestError)) {
				t.Fatalf("%v with %d messages", err, len(list))
			}
			return
		}
		for _, in := range list {
			if in.ID == "" || in.Sender == "" || in.Sender == us || in.Conversation == "" || in.Kind == "" || len(in.Text) > maxText {
				t.Fatalf("taken: %+v", in)
			}
		}
	})
}
