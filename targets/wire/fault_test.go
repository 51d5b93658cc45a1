package wire

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"syscall"
	"testing"

	"cuewright/macro/diag"
)

func dial(err error) error { return &net.OpError{Op: "dial", Net: "tcp", Err: err} }

func TestClassify(t *testing.T) {
	for _, c := range []struct {
		err  error
		code diag.Code
		what string
	}{
		{os.ErrDeadlineExceeded, "device-no-answer", "`deck` at 10.0.0.5:80 did not answer in time"},
		{fmt.Errorf("waiting: %w", context.DeadlineExceeded), "device-no-answer", ""},
		{dial(syscall.ETIMEDOUT), "device-no-answer", ""},
		{dial(os.NewSyscallError("connect", syscall.ECONNREFUSED)), "device-refused", "`deck` at 10.0.0.5:80 refused: nothing listens there"},
		{syscall.EMSGSIZE, "oversized-message", "the message is too long to be sent to `deck` at 10.0.0.5:80"},
		{&tls.CertificateVerificationError{Err: x509.UnknownAuthorityError{}}, "device-not-trusted", "`deck` at 10.0.0.5:80 shows a certificate that is not trusted"},
		{x509.HostnameError{Certificate: &x509.Certificate{}}, "device-not-trusted", ""},
		{io.EOF, "device-hung-up", "`deck` at 10.0.0.5:80 ended the connection"},
		{io.ErrUnexpectedEOF, "device-hung-up", ""},
		{&net.OpError{Op: "read", Err: syscall.ECONNRESET}, "device-hung-up", ""},
		{&net.OpError{Op: "write", Err: syscall.EPIPE}, "device-hung-up", ""},
		{dial(syscall.EHOSTUNREACH), "device-unreachable", "there is no way to `deck` at 10.0.0.5:80"},
		{&net.OpError{Op: "write", Err: syscall.ENETUNREACH}, "device-unreachable", ""},
		{dial(&net.DNSError{Err: "no such host", IsNotFound: true}), "device-unreachable", "the name in the address of `deck` at 10.0.0.5:80 is not known"},
		{errors.New("malformed"), "device-answer-garbled", "`deck` at 10.0.0.5:80 gave an answer that cannot be read"},
	} {
		got := Classify(Who("deck", "10.0.0.5:80"), c.err)
		if CodeOf(got) != c.code || c.what != "" && got.Error() != c.what {
			t.Errorf("%v: %s, %v", c.err, CodeOf(got), got)
		}
		if !errors.Is(got, c.err) && CodeOf(got) != "device-not-trusted" {
			t.Errorf("%v: the cause is lost", c.err)
		}
		if e := diag.Lookup(CodeOf(got)); e.Why == "" {
			t.Errorf("%s has no row", CodeOf(got))
		}
	}
}

func TestClassifyLeavesAlone(t *testing.T) {
	fault := &Fault{Code: "device-said-no", What: "no", Status: 404}
	for _, err := range []error{nil, context.Canceled, fmt.Errorf("sending: %w", context.Canceled), fault} {
		if got := Classify("deck", err); got != err {
			t.Errorf("%v became %v", err, got)
		}
	}
	if CodeOf(nil) != "" || CodeOf(io.EOF) != "" || CodeOf(fmt.Errorf("wrapped: %w", fault)) != "device-said-no" {
		t.Error("CodeOf is wrong")
	}
	if Who("", "10.0.0.5:80") != "10.0.0.5:80" {
		t.Error("a device without a name")
	}
}

func TestOnThisMachine(t *testing.T) {
	for host, want := range map[string]bool{"localhost": true, "127.0.0.1": true, "127.9.9.9": true, "::1": true,
		"": false, "10.0.0.5": false, "127.0.0.1.evil.example": false, "localhost.evil.example": false, "0.0.0.0": false} {
		if got := OnThisMachine(host); got != want {
			t.Errorf("%q: %v", host, got)
		}
	}
}
