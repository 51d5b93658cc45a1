package pair

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
)

// Secure is how TLS is spoken. The zero value is that it is not.
type Secure struct{ server, client *tls.Config }

// ReadSecure reads a certificate with its key, and the authority that both ends
// have theirs from. Without any file there is no TLS.
func ReadSecure(certFile, keyFile, authorityFile string) (Secure, error) {
	if certFile+keyFile+authorityFile == "" {
		return Secure{}, nil
	}
	if certFile == "" || keyFile == "" || authorityFile == "" {
		return Secure{}, errors.New("TLS in a pair needs a certificate, its key and the authority")
	}
	own, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return Secure{}, err
	}
	text, err := os.ReadFile(authorityFile)
	if err != nil {
		return Secure{}, err
	}
	authority := x509.NewCertPool()
	if !authority.AppendCertsFromPEM(text) {
		return Secure{}, fmt.Errorf("there is no certificate in `%s`", authorityFile)
	}
	return Secure{
		server: &tls.Config{MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{own}, ClientCAs: authority, ClientAuth: tls.RequireAndVerifyClientCert},
		client: &tls.Config{MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{own}, RootCAs: authority},
	}, nil
}
