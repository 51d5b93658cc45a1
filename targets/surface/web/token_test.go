package web

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"cuewright/targets/surface/surfacetest"
)

// TestReadToken: only of a plain file that nobody else may read.
func TestReadToken(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string, mode os.FileMode) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), mode); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		return path
	}
	if _, err := ReadToken(file("handed over", secret, 0o440)); err == nil {
		t.Error("a file that its group may read was taken")
	}
	t.Setenv("CREDENTIALS_DIRECTORY", filepath.Dir(file("handed over", secret, 0o440)))
	if got, err := ReadToken(file("handed over", secret, 0o440)); got != secret || err != nil {
		t.Errorf("from the service manager: %q, %v", got, err)
	}
	t.Setenv("CREDENTIALS_DIRECTORY", "")
	if got, err := ReadToken(file("good", secret+"\n", 0o600)); got != secret || err != nil {
		t.Errorf("%q, %v", got, err)
	}
	for name, path := range map[string]string{
		"group may read": file("group", secret, 0o640),
		"all may read":   file("all", secret, 0o604),
		"empty":          file("empty", " \n", 0o600),
		"long":           file("long", strings.Repeat("x", 2000), 0o600),
		"none":           filepath.Join(dir, "none"),
		"a folder":       dir,
	} {
		got, err := ReadToken(path)
		if err == nil || got != "" || strings.Contains(err.Error(), secret) {
			t.Errorf("%s: %q, %v", name, got, err)
		}
	}
}

// certified is c with a certificate of its own for this machine.
func certified(t *testing.T, c Config) Config {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	cert := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, cert, cert, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	secretDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	c.CertFile, c.KeyFile = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for path, block := range map[string]*pem.Block{c.CertFile: {Type: "CERTIFICATE", Bytes: der}, c.KeyFile: {Type: "PRIVATE KEY", Bytes: secretDER}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return c
}

// TestHTTPS: with a certificate it speaks nothing else, and its tickets go
// over nothing else.
func TestHTTPS(t *testing.T) {
	c := certified(t, Config{Token: secret})
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), c)
	roots := x509.NewCertPool()
	text, err := os.ReadFile(c.CertFile)
	if err != nil || !roots.AppendCertsFromPEM(text) {
		t.Fatal(err)
	}
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}}
	defer client.CloseIdleConnections()
	url := "https://" + s.Addr().String()
	r, err := http.NewRequest("POST", url+"/pair", strings.NewReader(`{"code":"`+secret+`"}`))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", url)
	answer, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	_ = answer.Body.Close()
	if answer.StatusCode != http.StatusNoContent || !answer.Cookies()[0].Secure || answer.TLS.Version < tls.VersionTLS12 {
		t.Errorf("%s %v", answer.Status, answer.Cookies())
	}
	plainAnswer, err := http.Get("http://" + s.Addr().String() + "/api/view")
	if err == nil {
		text, _ := io.ReadAll(plainAnswer.Body)
		_ = plainAnswer.Body.Close()
		if plainAnswer.StatusCode == http.StatusOK || strings.Contains(string(text), "Small") {
			t.Errorf("without TLS: %d %s", plainAnswer.StatusCode, text)
		}
	}
}
