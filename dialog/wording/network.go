package wording

// What is said on a network of messages without a dialog.

// Stranger is all that somebody hears whom nobody let in: the same whether or
// not there is a shop behind it.
func Stranger() Text { return T("channel.stranger") }

// Unreadable is said in a room whose messages are encrypted.
func Unreadable() Text { return T("channel.secret") }
