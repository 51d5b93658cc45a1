package pair

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	crand "crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"cuewright/targets/control"
	"cuewright/targets/journal"
	"cuewright/targets/lease"
	"cuewright/targets/surface"
	"cuewright/targets/surface/web"
)

// Who does not know the secret can neither speak nor listen, whatever it
// tries, and costs no memory.
func TestStrangers(t *testing.T) {
	d := newDuo(t, false, false)
	leader, _ := d.both()
	url := urlOf(d.listen[leader])
	other, err := newKey("another secret, as long")
	if err != nil {
		t.Fatal(err)
	}
	for name, o := range map[string]nats.Option{
		"nobody":         nats.Name("me"),
		"a password":     nats.UserInfo("cuewright", secret),
		"the secret":     nats.Token(secret),
		"another secret": nats.Nkey(other.public, other.pair.Sign),
		"a wrong signature": func() nats.Option {
			k, _ := newKey(secret)
			return nats.Nkey(k.public, func([]byte) ([]byte, error) { return make([]byte, 64), nil })
		}(),
	} {
		c, err := nats.Connect(url, o, nats.Timeout(2*time.Second))
		if err == nil {
			c.Close()
			t.Errorf("%s: it is let in", name)
		} else if !strings.Contains(strings.ToLower(err.Error()), "authorization") && !strings.Contains(err.Error(), "nkeys") {
			t.Errorf("%s: %v", name, err)
		}
	}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for _, junk := range [][]byte{nil, []byte("PUB pair.word 4\r\nxxxx\r\n"), bytes.Repeat([]byte{0}, 1<<16), bytes.Repeat([]byte("CONNECT "), 1<<13), []byte("SUB pair.> 1\r\nPING\r\n")} {
		for range 20 {
			c, err := net.Dial("tcp", d.listen[leader])
			if err != nil {
				t.Fatal(err)
			}
			_ = c.SetDeadline(time.Now().Add(100 * time.Millisecond))
			_, _ = c.Write(junk)
			got, _ := io.ReadAll(c)
			if strings.Contains(string(got), "MSG ") {
				t.Errorf("%.20q is told something: %q", junk, got)
			}
			c.Close()
		}
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 8<<20 {
		t.Errorf("the heap has grown by %d bytes", grown)
	}
	if now, _ := d.inStep(); now != leader {
		t.Errorf("%s leads", now)
	}
}

// Who knows the secret and speaks nonsense changes nothing.
func TestNonsense(t *testing.T) {
	d := newDuo(t, false, false)
	leader, _ := d.both()
	k, err := newKey(secret)
	if err != nil {
		t.Fatal(err)
	}
	c, err := nats.Connect(urlOf(d.listen[leader]), nats.Nkey(k.public, k.pair.Sign))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	for _, data := range []string{"", "{", "[]", `{"Kind":99}`, `{"Kind":0,"From":1,"Epoch":18446744073709551615}`, `{"Kind":0,"From":7}`, strings.Repeat("x", 1<<16)} {
		for _, subject := range []string{wordSubject, startSubject, moreSubject} {
			if err := c.Publish(subject, []byte(data)); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := c.Flush(); err != nil {
		t.Fatal(err)
	}
	if now, _ := d.inStep(); now != leader {
		t.Errorf("%s leads", now)
	}
	if a := d.tap(leader, "Wide", "1"); a.Outcome != surface.Done {
		t.Errorf("%+v", a)
	}
}

func TestSecret(t *testing.T) {
	if _, err := Open(Config{Secret: "short", Listen: "127.0.0.1:0", Partner: "127.0.0.1:1", Dir: t.TempDir()}); err == nil || !strings.Contains(err.Error(), "16 characters") {
		t.Errorf("a short secret: %v", err)
	}
	a, _ := newKey(secret)
	b, _ := newKey(secret)
	c, _ := newKey(secret + ".")
	if a.public != b.public || a.public == c.public {
		t.Error("a key is made of its secret alone")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if _, err := Open(Config{Secret: secret, Listen: l.Addr().String(), Partner: "127.0.0.1:1", Dir: t.TempDir()}); err == nil || !strings.Contains(err.Error(), "in use") {
		t.Errorf("an address that is taken: %v", err)
	}
}

// certificates are those of an authority for 127.0.0.1.
func certificates(t *testing.T) (cert, key, authority string) {
	t.Helper()
	dir := t.TempDir()
	private, err := ecdsa.GenerateKey(elliptic.P256(), crand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "pair"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(crand.Reader, template, template, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	secretKey, err := x509.MarshalECPrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	cert, key = filepath.Join(dir, "cert"), filepath.Join(dir, "key")
	for name, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "EC PRIVATE KEY", Bytes: secretKey}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key, cert
}

// With TLS both ends prove who they are, and who speaks without is not heard.
func TestSecure(t *testing.T) {
	d := newDuo(t, false, false)
	secure, err := ReadSecure(certificates(t))
	if err != nil {
		t.Fatal(err)
	}
	d.secure = secure
	leader, _ := d.both()
	k, err := newKey(secret)
	if err != nil {
		t.Fatal(err)
	}
	if c, err := nats.Connect(urlOf(d.listen[leader]), nats.Nkey(k.public, k.pair.Sign), nats.Timeout(time.Second)); err == nil {
		c.Close()
		t.Error("without TLS it is let in")
	}
	if _, err := ReadSecure("cert", "", ""); err == nil {
		t.Error("a certificate without its key will do")
	}
}

// The page's interface says who leads, and one press there switches over.
func TestSwitchByHTTP(t *testing.T) {
	d := newDuo(t, false, false)
	leader, follower := d.both()
	s, err := web.Listen(d.desks[leader], web.Config{Address: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	defer http.DefaultClient.CloseIdleConnections()
	url := strings.TrimSuffix(s.URL(), "/")
	var view struct {
		Pair struct {
			Seat, Other          string
			Leads, Sends, InStep bool
			Epoch                uint64
			Seen                 int64
			Text                 string
		}
	}
	look := func() {
		r, err := http.Get(url + "/api/view")
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		if err := json.NewDecoder(r.Body).Decode(&view); err != nil {
			t.Fatal(err)
		}
	}
	if look(); !view.Pair.Leads || !view.Pair.Sends || !view.Pair.InStep || view.Pair.Seat != leader.String() || view.Pair.Epoch == 0 || view.Pair.Seen < 0 {
		t.Errorf("%+v", view.Pair)
	}
	r, err := http.Post(url+"/api/press", "application/json", strings.NewReader(`{"kind":"switch"}`))
	if err != nil {
		t.Fatal(err)
	}
	answer, err := io.ReadAll(r.Body)
	r.Body.Close()
	if err != nil || !strings.Contains(string(answer), `"done"`) {
		t.Errorf("%s %v", answer, err)
	}
	d.sends(follower)
	await(t, "the page says so", func() bool { look(); return !view.Pair.Leads && strings.Contains(view.Pair.Text, "press there") })
}

// Both are called A: they say so, and neither follows itself.
func TestSameSeat(t *testing.T) {
	d := newDuo(t, false, false)
	d.start(lease.A)
	c := d.config(lease.B)
	c.Seat = lease.A
	end, err := Open(c)
	if err != nil {
		t.Fatal(err)
	}
	d.ends[1] = end
	if d.desks[1], err = control.Start(d.program, control.Options{Dir: c.Dir, Env: credentials, Pair: end}); err != nil {
		t.Fatal(err)
	}
	await(t, "it is told", func() bool { return strings.Contains(d.alerts(1), "both controllers are called A") })
}

// What is kept survives a file that is not whole.
func TestKeeper(t *testing.T) {
	k := keeper{filepath.Join(t.TempDir(), "kept")}
	var got lease.Kept
	if err := k.read(&got); err != nil || got != (lease.Kept{}) {
		t.Errorf("nothing kept: %+v %v", got, err)
	}
	for n := uint64(1); n <= 3; n++ {
		if err := k.write(lease.Kept{Epoch: n, Alone: true}); err != nil {
			t.Fatal(err)
		}
	}
	if err := k.read(&got); err != nil || got.Epoch != 3 || !got.Alone {
		t.Errorf("%+v %v", got, err)
	}
	data, err := os.ReadFile(k.path)
	if err != nil {
		t.Fatal(err)
	}
	for at := range data {
		if err := os.WriteFile(k.path, data[:at], 0o600); err != nil {
			t.Fatal(err)
		}
		if err := k.read(&got); err != nil || got.Epoch != 2 && at < len(data)-1 {
			t.Fatalf("cut at %d: %+v %v", at, got, err)
		}
	}
	for _, path := range []string{k.path, k.old()} {
		if err := os.WriteFile(path, []byte("0000 {}"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := k.read(&got); err == nil {
		t.Error("two files that are not whole will do")
	}
}

func FuzzWord(f *testing.F) {
	f.Add(encodeWord(lease.Word{Kind: lease.Vote, From: lease.B, Epoch: 7, Stamp: time.Second}))
	f.Add([]byte(`{"Kind":200}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		w, err := decodeWord(data)
		if err != nil {
			return
		}
		m := lease.NewMember(lease.Rules{Seat: lease.A, Witness: w.Alone}, lease.Kept{Epoch: 2}, 1, 0)
		j := lease.NewJudge(lease.JudgeKept{Epoch: 2}, 0)
		m.Hear(w, time.Second)
		j.Hear(w, time.Second)
		m.Tick(2 * time.Second)
		if back, err := decodeWord(encodeWord(w)); err != nil || back != w {
			t.Errorf("%+v comes back as %+v: %v", w, back, err)
		}
	})
}

func FuzzPiece(f *testing.F) {
	r := journal.Record{Kind: journal.Alert, By: "show", Text: "the horn"}
	f.Add(encodePiece(control.Piece{Epoch: 3, Number: 9, Now: 5, Held: true, Records: r.Append(nil)}))
	f.Add(encodePiece(control.Piece{Epoch: 3, Number: 1, Start: true, Digest: strings.Repeat("0f", digestBytes)}))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := decodePiece(data)
		if err != nil {
			return
		}
		back, err := decodePiece(encodePiece(p))
		if err != nil || fmt.Sprint(back) != fmt.Sprint(p) {
			t.Errorf("%+v comes back as %+v: %v", p, back, err)
		}
		for rest := p.Records; len(rest) > 0; {
			var err error
			if _, rest, err = journal.Next(rest); err != nil {
				break
			}
		}
	})
}
