package boltstore

import (
	"bytes"
	"encoding/binary"
	"errors"
	"time"

	"shimwright/store"
	"shimwright/store/internal/fields"
)

// Keys of the bucket data begin with the shop, so that everything of a shop,
// and within it of a conversation, lies together and a commit touches few
// pages. Text in a key ends with 0x00; a 0x00 within it is written 0x00 0xff.
// Numbers are eight bytes, the highest first.
//
//	shop tagConversation conversation  then one of
//	     convRow                       the document and what changes with it (row.go)
//	     convHandled number            a list of handled messages, the first has number
//	     convQueue number              a waiting message
//	     convHeld time number          a waiting message whose NotBefore has not come
//	     convUnderway                  delivery of the first of the queue
//	     convReady                     time under which the conversation is in the bucket times
//	shop tagPeople                     the people
//	shop tagSaw id                     a saw
//	shop tagOther kind id              any other document
//	shop tagRecord time number         a record
//	shop tagRecordID id                the key of that record
//	shop tagLast saw characteristic    the key of the newest record
//	shop tagReminder id                a reminder
//	shop tagDead id                    its number and a dead letter
//
// Keys of the bucket times, their values are empty:
//
//	timeDue time shop id               a reminder
//	timeReady time shop conversation   a conversation with something to send
//	timeDead time number shop id       a dead letter
//
// Keys of the bucket log are the numbers of the last entry of each piece
// (log.go).
const (
	tagConversation = 'c'
	tagPeople       = 'p'
	tagSaw          = 's'
	tagOther        = 'x'
	tagRecord       = 'r'
	tagRecordID     = 'k'
	tagLast         = 'l'
	tagReminder     = 'm'
	tagDead         = 'z'

	convRow      = 'd'
	convHandled  = 'e'
	convQueue    = 'q'
	convHeld     = 'h'
	convUnderway = 'u'
	convReady    = 'y'

	timeDue   = 'd'
	timeReady = 'r'
	timeDead  = 'z'
)

// key is a key under construction. Its methods append in place, so each key is
// begun afresh.
type key []byte

// of begins a key of a shop.
func of(shop string, tag byte) key {
	return append(make(key, 0, len(shop)+48).str(shop), tag)
}

// conv begins a key of a conversation.
func conv(c store.Conversation, tag byte) key {
	k := make(key, 0, len(c.Shop)+len(c.ID)+48).str(c.Shop)
	return append(append(k, tagConversation).str(c.ID), tag)
}

// at begins a key of the bucket times.
func at(tag byte, t time.Time) key { return append(make(key, 0, 64), tag).time(t) }

// str ends a name with a zero; a zero within it is followed by 0xff, with which
// no other name begins, because names are UTF-8, and no number.
func (k key) str(s string) key {
	for {
		i := bytes.IndexByte([]byte(s), 0)
		if i < 0 {
			return append(append(k, s...), 0)
		}
		k = append(append(k, s[:i]...), 0, 0xff)
		s = s[i+1:]
	}
}

func (k key) num(n uint64) key { return binary.BigEndian.AppendUint64(k, n) }

// time orders by milliseconds; times before 1970 count as one.
func (k key) time(t time.Time) key { return k.num(uint64(max(fields.Milli(t), 0))) }

// docKey is the key of a document.
func docKey(shop string, kind store.Kind, id string) key {
	switch kind {
	case store.KindConversation:
		return conv(store.Conversation{Shop: shop, ID: id}, convRow)
	case store.KindSaw:
		return of(shop, tagSaw).str(id)
	case store.KindPeople:
		if id == "" {
			return of(shop, tagPeople)
		}
	}
	return of(shop, tagOther).str(string(kind)).str(id)
}

var errKey = errors.New("store: damaged key")

// parser takes a key apart again.
type parser struct {
	rest []byte
	err  error
}

func parse(k []byte) *parser { return &parser{rest: k} }

func (p *parser) str() string {
	var out []byte
	for i := 0; i < len(p.rest); i++ {
		switch {
		case p.rest[i] != 0:
			out = append(out, p.rest[i])
		case i+1 < len(p.rest) && p.rest[i+1] == 0xff:
			out = append(out, 0)
			i++
		default:
			p.rest = p.rest[i+1:]
			return string(out)
		}
	}
	p.rest, p.err = nil, errKey
	return ""
}

func (p *parser) tag() byte {
	if len(p.rest) == 0 {
		p.err = errKey
		return 0
	}
	b := p.rest[0]
	p.rest = p.rest[1:]
	return b
}

func (p *parser) num() uint64 {
	if len(p.rest) < 8 {
		p.rest, p.err = nil, errKey
		return 0
	}
	n := binary.BigEndian.Uint64(p.rest)
	p.rest = p.rest[8:]
	return n
}

func (p *parser) time() time.Time { return fields.Time(int64(p.num())) }
