package main

import (
	"net/http"

	chatpage "shimwright/bot/page"
)

// homePage is the chat page and its files.
func homePage() http.Handler { return chatpage.Handler() }

// homePaths are the addresses of the chat page and of its files.
func homePaths() []string { return []string{"/", chatpage.Prefix + "{file}"} }
