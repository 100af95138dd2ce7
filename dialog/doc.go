// Package dialog holds the conversation: it decides what a message means, what
// is asked next and what is advised. It is pure: the same view, state, message
// and time give the same result.
package dialog
