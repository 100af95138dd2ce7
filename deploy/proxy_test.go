package deploy

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shimwright/bot/testenv"
)

// TestProxies: both proxies take their files.
func TestProxies(t *testing.T) {
	dir := t.TempDir()
	testenv.Program(t, "nginx")
	certificate(t, dir)
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

// certificate writes one that nobody trusts, with its key.
func certificate(t *testing.T, dir string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "saw.example.org"}, NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "fullchain.pem"), string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
	write(t, filepath.Join(dir, "privkey.pem"), string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private})))
}
