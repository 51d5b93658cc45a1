package osc

import (
	"net"
	"sync/atomic"
	"testing"
	"time"
)

// TestDropped: datagrams that come while the handler is busy fill the buffer,
// and each that finds no room is counted, to the last.
func TestDropped(t *testing.T) {
	busy, heard := make(chan bool), make(chan bool, 1)
	var total atomic.Int64
	r, err := ListenUDP("127.0.0.1:0", func([]byte, From) {
		if total.Add(1) == 1 {
			heard <- true
			<-busy
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if n, ok := r.Dropped(); n != 0 || !ok {
		t.Fatalf("%d dropped before anything came, known %v", n, ok)
	}
	conn, err := net.Dial("udp", r.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	const sent = 20_000 // of 1 KiB each: more than the 4 MiB that are asked for, however the system counts
	packet := make([]byte, 1024)
	for i := range sent {
		if _, err := conn.Write(packet); err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			<-heard
		}
	}
	lost, ok := r.Dropped()
	if !ok || lost == 0 {
		t.Fatalf("%d dropped, known %v", lost, ok)
	}
	close(busy)
	for end := time.Now().Add(10 * time.Second); int(total.Load())+int(lost) < sent && time.Now().Before(end); {
		time.Sleep(time.Millisecond)
	}
	if got := int(total.Load()) + int(lost); got != sent {
		t.Errorf("%d heard and %d dropped, of %d sent", total.Load(), lost, sent)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	if _, ok := r.Dropped(); ok {
		t.Error("a closed socket still tells")
	}
}
