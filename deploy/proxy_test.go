package deploy

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shimwright/bot/testenv"
)

// TestProxies: both proxies take their files.
func TestProxies(t *testing.T) {
	dir := t.TempDir()
	testenv.Program(t, "nginx")
	testenv.Certificate(t, dir, "saw.example.org")
	site := strings.ReplaceAll(read(t, "proxy/nginx.conf"), "/etc/ssl/saw.example.org", dir)
	conf := filepath.Join(dir, "nginx.conf")
	write(t, conf, "pid "+dir+"/pid;\nevents {}\nhttp {\naccess_log off;\n"+site+"}\n")
	run(t, "nginx", "-t", "-q", "-p", dir, "-e", filepath.Join(dir, "log"), "-c", conf)
	t.Setenv("XDG_CONFIG_HOME", dir)
	t.Setenv("XDG_DATA_HOME", dir)
	run(t, "caddy", "validate", "--adapter", "caddyfile", "--config", "proxy/Caddyfile")
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}
