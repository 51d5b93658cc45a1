// Package wire is what all wires to devices have in common: the faults that
// sending can meet, each with its code, told in the user's words. How a
// message travels is the business of osc and httpout.
package wire

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"os"
	"syscall"

	"cuewright/macro/diag"
)

// Fault is an error of sending to a device. What is in the user's words, with
// a small first letter, no full stop, and no secret in it. Status is the HTTP
// status when the device gave one, else 0.
type Fault struct {
	Code   diag.Code
	What   string
	Status int
	Err    error // what the system said, or nil

	// Earlier says that the fault is what became of something sent before: what
	// was given with this call is on its way.
	Earlier bool
}

func (f *Fault) Error() string { return f.What }

// Unwrap is what the system said.
func (f *Fault) Unwrap() error { return f.Err }

// CodeOf is the code of an error of sending, "" when it is none of ours.
func CodeOf(err error) diag.Code {
	var f *Fault
	if errors.As(err, &f) {
		return f.Code
	}
	return ""
}

// Classify makes a Fault of what the network said about talking to who, which
// is the device and its address as people read them. A Fault stays as it is,
// and a cancelled context is not the device's fault.
func Classify(who string, err error) error {
	var f *Fault
	switch {
	case err == nil, errors.As(err, &f), errors.Is(err, context.Canceled):
		return err
	case unknownName(err):
		return &Fault{Code: "device-unreachable", What: "the name in the address of " + who + " is not known", Err: err}
	case timedOut(err):
		return &Fault{Code: "device-no-answer", What: who + " did not answer in time", Err: err}
	case errors.Is(err, syscall.ECONNREFUSED):
		return &Fault{Code: "device-refused", What: who + " refused: nothing listens there", Err: err}
	case errors.Is(err, syscall.EMSGSIZE):
		return &Fault{Code: "oversized-message", What: "the message is too long to be sent to " + who, Err: err}
	case untrusted(err):
		return &Fault{Code: "device-not-trusted", What: who + " shows a certificate that is not trusted", Err: err}
	case hungUp(err):
		return &Fault{Code: "device-hung-up", What: who + " ended the connection", Err: err}
	case unreachable(err):
		return &Fault{Code: "device-unreachable", What: "there is no way to " + who, Err: err}
	}
	return &Fault{Code: "device-answer-garbled", What: who + " gave an answer that cannot be read", Err: err}
}

func timedOut(err error) bool {
	var n net.Error
	return errors.Is(err, os.ErrDeadlineExceeded) || errors.Is(err, context.DeadlineExceeded) ||
		errors.As(err, &n) && n.Timeout()
}

func hungUp(err error) bool {
	for _, e := range []error{io.EOF, io.ErrUnexpectedEOF, net.ErrClosed, syscall.ECONNRESET, syscall.ECONNABORTED, syscall.EPIPE} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

func unreachable(err error) bool {
	var op *net.OpError
	if errors.As(err, &op) && op.Op == "dial" {
		return true
	}
	for _, e := range []error{syscall.ENETUNREACH, syscall.EHOSTUNREACH, syscall.ENETDOWN, syscall.EHOSTDOWN,
		syscall.EADDRNOTAVAIL, syscall.EPERM, syscall.EACCES} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

func unknownName(err error) bool {
	var n *net.DNSError
	return errors.As(err, &n)
}

func untrusted(err error) bool {
	var (
		verify  *tls.CertificateVerificationError
		unknown x509.UnknownAuthorityError
		host    x509.HostnameError
		invalid x509.CertificateInvalidError
	)
	return errors.As(err, &verify) || errors.As(err, &unknown) || errors.As(err, &host) || errors.As(err, &invalid)
}

// Who is a device and its address for people: "`deck` at 10.0.0.5:80". An
// empty name is left out.
func Who(name, address string) string {
	if name == "" {
		return address
	}
	return fmt.Sprintf("`%s` at %s", name, address)
}

// OnThisMachine says whether a host, without its port, is this machine and no
// other: localhost or an address of loopback.
func OnThisMachine(host string) bool {
	ip, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && ip.IsLoopback()
}
