package web

import (
	"context"
	"net"
	"net/http"
)

// discard is an answer that nobody reads.
type discard struct{}

func (discard) Header() http.Header         { return http.Header{} }
func (discard) Write(b []byte) (int, error) { return len(b), nil }
func (discard) WriteHeader(int)             {}

// contextAt is the context of a request that came to s's address.
func contextAt(s *Surface) context.Context {
	return context.WithValue(context.Background(), http.LocalAddrContextKey, net.TCPAddrFromAddrPort(s.Addr()))
}
