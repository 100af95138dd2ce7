package main

import (
	"net/http"
)

// homePage is the chat page.
func homePage() http.Handler {
	return http.NotFoundHandler()
}
