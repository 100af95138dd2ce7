package main

import (
	"fmt"
	"log/slog"
)

// Secret is a value that must not be read by chance: it prints as a
// placeholder in every format, log and encoding. Reveal is the only way to it.
type Secret struct{ value string }

// hidden is what a secret prints as.
const hidden = "(secret)"

// NewSecret wraps a value.
func NewSecret(value string) Secret { return Secret{value} }

// Reveal returns the value, for the one place that uses it.
func (s Secret) Reveal() string { return s.value }

// Empty reports whether there is no value.
func (s Secret) Empty() bool { return s.value == "" }

func (s Secret) String() string                { return hidden }
func (s Secret) GoString() string              { return hidden }
func (s Secret) Format(f fmt.State, verb rune) { _, _ = f.Write([]byte(hidden)) }
func (s Secret) LogValue() slog.Value          { return slog.StringValue(hidden) }
func (s Secret) MarshalText() ([]byte, error)  { return []byte(hidden), nil }
func (s Secret) MarshalJSON() ([]byte, error)  { return []byte(`"` + hidden + `"`), nil }
