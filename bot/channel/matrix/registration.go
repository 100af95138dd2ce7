package matrix

import (
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
)

// Registration is the file by which a homeserver knows an application service.
type Registration struct {
	URL     string // where the homeserver reaches this channel
	User    string // who we are, e.g. @shimwright:shop.example
	ASToken string
	HSToken string
}

// YAML writes the file. Every value is a JSON string, which is YAML too.
func (r Registration) YAML() ([]byte, error) {
	if !userID.MatchString(r.User) {
		return nil, fmt.Errorf("%q is not a user of a Matrix server, like @shimwright:shop.example", r.User)
	}
	local, _, _ := strings.Cut(strings.TrimPrefix(r.User, "@"), ":")
	q := func(s string) string {
		b, err := json.Marshal(s)
		if err != nil {
			panic(err) // a string
		}
		return string(b)
	}
	return fmt.Appendf(nil, `# Registration of an application service. Name this file in the homeserver's
# list of application services, restart the homeserver, and keep the file
# secret: whoever has its tokens speaks in our name.
id: "shimwright"
url: %s
as_token: %s
hs_token: %s
sender_localpart: %s
rate_limited: false
namespaces:
  users:
    - exclusive: true
      regex: %s
  aliases: []
  rooms: []
`, q(r.URL), q(r.ASToken), q(r.HSToken), q(local), q(regexp.QuoteMeta(r.User))), nil
}
