package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"shimwright/bot/channel/matrix"
)

const matrixUsage = "bot matrix SERVER [FILE [ADDRESS]], e.g. bot matrix shop.example shimwright.yaml http://127.0.0.1:8080"

// matrixCommand writes the registration file by which a homeserver knows the
// service, with tokens of its own, and prints the settings that go with it.
func matrixCommand(_ context.Context, c console, args []string) error {
	if len(args) < 1 || len(args) > 3 || strings.HasPrefix(args[0], "-") {
		return errors.New("the name of the homeserver is missing: " + matrixUsage)
	}
	file, address := "shimwright.yaml", "http://127.0.0.1:8080"
	if len(args) > 1 {
		file = args[1]
	}
	if len(args) > 2 {
		address = strings.TrimSuffix(args[2], "/")
	}
	r := matrix.Registration{URL: address + intakePath + matrix.Name, User: "@shimwright:" + args[0],
		ASToken: newToken(), HSToken: newToken()}
	body, err := r.YAML()
	if err != nil {
		return fmt.Errorf("%w; %s", err, matrixUsage)
	}
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("%s is there already; its tokens may be in use, so it is not replaced", file)
	}
	if err != nil {
		return fmt.Errorf("the registration file cannot be written: %w", err)
	}
	if _, err = f.Write(body); err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("the registration file cannot be written: %w", err)
	}
	fmt.Fprintf(c.out, `%s is written. Name it in the homeserver's list of application services and
restart the homeserver. Then start this service with these settings; the
homeserver's address and the people are for you to fill in:

%[2]s_MATRIX_HOMESERVER=http://127.0.0.1:8008
%[2]s_MATRIX_USER=%[3]s
%[2]s_MATRIX_AS_TOKEN=%[4]s
%[2]s_MATRIX_HS_TOKEN=%[5]s
%[2]s_MATRIX_PEOPLE=%[6]s
`, file, prefix, r.User, r.ASToken, r.HSToken, args[0])
	return nil
}
