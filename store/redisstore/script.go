package redisstore

import (
	"context"
	"crypto/sha1"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"github.com/redis/go-redis/v9"

	"shimwright/store"
)

// luaFields takes packed values apart (package fields) and holds the two spans
// of store.KeepIDs and store.SweepAfter in milliseconds.
const luaFields = `
local KEEP, SWEEP = 604800000, 3600000
local function field(s, i)
  local c = string.find(s, ':', i, true)
  local n = tonumber(string.sub(s, i, c - 1))
  return string.sub(s, c + 1, c + n), c + n + 1
end
local function nth(s, k)
  local v, i = nil, 1
  for _ = 1, k do v, i = field(s, i) end
  return v
end
local function num(n) return string.format('%.0f', n) end
local function pack(s) return #s .. ':' .. s end
`

// luaQueue is what the scripts that change an outbox share. q and w are the
// keys of one conversation, m is its member in ready and its field in cur.
const luaQueue = `
local function index(ready, cur, q, w, m)
  local u = redis.call('HGET', cur, m)
  local item = not u and redis.call('LINDEX', q, 0)
  local score
  if u then score = nth(u, 3)
  elseif item then score = nth(item, 1)
  else score = redis.call('ZRANGE', w, 0, 0, 'WITHSCORES')[2] end
  if score then redis.call('ZADD', ready, score, m) else redis.call('ZREM', ready, m) end
end
`

// luaReminders keeps due, the time of the shop's next reminder, in step with
// its list of reminders.
const luaReminders = `
local function nextdue(due, m, shop)
  local first
  for _, v in ipairs(redis.call('LRANGE', m, 0, -1)) do
    local at = tonumber(nth(v, 1))
    if not first or at < first then first = at end
  end
  if first then redis.call('ZADD', due, num(first), shop) else redis.call('ZREM', due, shop) end
end
`

// script is a Lua script, called by its hash.
type script struct {
	text, hash string
	// writes is set when running it twice is not the same as once: it is then
	// not sent again after a failure of the connection.
	writes bool
}

func newScript(writes bool, parts ...string) script {
	text := strings.Join(parts, "")
	sum := sha1.Sum([]byte(text))
	return script{text: text, hash: hex.EncodeToString(sum[:]), writes: writes}
}

// once is a command that the client does not send again by itself.
type once struct{ *redis.Cmd }

// NoRetry is asked by the client.
func (once) NoRetry() bool { return true }

// run calls a script by its hash, and with its text when the server does not
// know it (after a restart or SCRIPT FLUSH). keys must all be in one slot.
func (s *Store) run(ctx context.Context, sc script, keys []string, args ...any) (reply, error) {
	v, err := s.call(ctx, sc, "evalsha", sc.hash, keys, args)
	if redis.HasErrorPrefix(err, "NOSCRIPT") {
		v, err = s.call(ctx, sc, "eval", sc.text, keys, args)
	}
	if err != nil {
		return nil, failed(err)
	}
	list, ok := v.([]any)
	if !ok {
		return nil, fmt.Errorf("store: Redis answered a script with %T", v)
	}
	return list, nil
}

func (s *Store) call(ctx context.Context, sc script, name, what string, keys []string, args []any) (any, error) {
	all := make([]any, 0, 3+len(keys)+len(args))
	all = append(all, name, what, len(keys))
	for _, k := range keys {
		all = append(all, k)
	}
	cmd := redis.NewCmd(ctx, append(all, args...)...)
	cmd.SetFirstKeyPos(3)
	var err error
	switch {
	case !sc.writes:
		err = s.read(ctx, cmd)
	case s.replicas == 0:
		err = s.send(ctx, once{cmd})
	default:
		err = s.replicated(ctx, cmd, keys[0])
	}
	if err != nil {
		return nil, err
	}
	return cmd.Val(), nil
}

// reply is what a script returned.
type reply []any

// text returns element i as text; ok is false when it is nil or missing.
func (r reply) text(i int) (string, bool) {
	if i >= len(r) {
		return "", false
	}
	s, ok := r[i].(string)
	return s, ok
}

// code is the first element of a script that answers with a word.
func (r reply) code() string {
	s, _ := r.text(0)
	return s
}

// list returns element i as a list.
func (r reply) list(i int) reply {
	if i >= len(r) {
		return nil
	}
	l, _ := r[i].([]any)
	return l
}

// strings returns the elements as text, nil ones as empty.
func (r reply) strings() []string {
	list := make([]string, len(r))
	for i := range r {
		list[i], _ = r.text(i)
	}
	return list
}

// failed names the kind of an error of Redis or of the way to it.
func failed(err error) error {
	var answered redis.Error
	switch {
	case err == nil:
		return nil
	case redis.HasErrorPrefix(err, "OOM"):
		return fmt.Errorf("%w: Redis has reached its maxmemory", store.ErrFull)
	case errors.As(err, &answered) && !passing(err):
		return fmt.Errorf("store: Redis refused: %w", err)
	}
	return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
}

// passing reports whether an answer of Redis says that it cannot serve now.
func passing(err error) bool {
	for _, p := range []string{
		"LOADING", "MASTERDOWN", "CLUSTERDOWN", "TRYAGAIN", "READONLY", "NOREPLICAS", "MISCONF", "BUSY", "UNBLOCKED", "MOVED", "ASK", "MAX",
	} {
		if redis.HasErrorPrefix(err, p) {
			return true
		}
	}
	return redis.HasErrorPrefix(err, "ERR max number of clients")
}
