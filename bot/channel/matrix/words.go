package matrix

import (
	"context"
	"fmt"
	"html"
	"strings"

	"shimwright/bot/channel"
)

// text is the content of a message: plain, and the same with its caution set
// off for clients that show HTML.
type text struct {
	Kind      string `json:"msgtype"`
	Body      string `json:"body"`
	Format    string `json:"format,omitempty"`
	Formatted string `json:"formatted_body,omitempty"`
}

// words writes a message: its text with the caution first, the choices, and
// for a picture that cannot be shown its address.
func (c *Channel) words(ctx context.Context, m channel.Message) (text, []shown) {
	var pictures []shown
	var links []string
	for _, p := range m.Media {
		if c.picture != nil && len(pictures) < 9 {
			if data, err := c.picture(ctx, p); err == nil {
				pictures = append(pictures, shown{p, data})
				continue
			}
		}
		if strings.HasPrefix(p.URL, "http") {
			links = append(links, p.URL)
		}
	}
	body := strings.TrimSpace(strings.ToValidUTF8(m.Text, ""))
	plain, rich := []string{body}, []string{marked(body, m.Caution)}
	if list := choices(m); len(list) > 0 {
		plain = append(plain, strings.Join(list, "\n"))
		for i := range list {
			list[i] = html.EscapeString(list[i])
		}
		rich = append(rich, strings.Join(list, "<br>"))
	}
	for _, l := range links {
		plain = append(plain, l)
		rich = append(rich, `<a href="`+html.EscapeString(l)+`">`+html.EscapeString(l)+`</a>`)
	}
	return text{Kind: "m.text", Body: strings.Join(plain, "\n"), Format: "org.matrix.custom.html",
		Formatted: strings.Join(rich, "<br>")}, pictures
}

// marked is a text as HTML, the first line of a caution in bold.
func marked(s string, caution bool) string {
	lines := strings.Split(s, "\n")
	for i := range lines {
		lines[i] = html.EscapeString(lines[i])
	}
	if caution {
		lines[0] = "<strong>" + lines[0] + "</strong>"
	}
	return strings.Join(lines, "<br>")
}

// choices lists the words that answer a message: with their numbers where a
// number is an answer, and otherwise only where the text does not say them.
func choices(m channel.Message) []string {
	var list []string
	said := true
	low := strings.ToLower(m.Text)
	for i, c := range m.Choices {
		said = said && strings.Contains(low, strings.ToLower(c))
		if m.Numbered {
			c = fmt.Sprintf("%d: %s", i+1, c)
		}
		list = append(list, c)
	}
	if said && !m.Numbered {
		return nil
	}
	return list
}
