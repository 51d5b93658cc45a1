package web

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"time"
)

// door decides who comes in. It keeps nothing of who does not but a bounded
// count of wrong tokens.
type door struct {
	token  string
	hosts  []string
	secure bool
	wrong  attempts
	opened time.Time
}

const (
	cookieName = "cuewright_tablet"
	pairedFor  = 7 * 24 * time.Hour
)

func newDoor(token string, hosts []string, secure bool) *door {
	return &door{token: token, hosts: hosts, secure: secure, opened: time.Now()}
}

// now is the time by a clock that nobody sets while the door is open: a board
// without a battery learns the date in the middle of the show, and no tablet
// may be shut out by that.
func (d *door) now() time.Time { return d.opened.Add(time.Since(d.opened)) }

// guard lets a request through that calls this server by a name of its own
// (against DNS rebinding) and that no page of another server has made.
func (d *door) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Cache-Control", "no-store")
		head.Set("Referrer-Policy", "no-referrer")
		head.Set("X-Frame-Options", "DENY")
		head.Set("Cross-Origin-Resource-Policy", "same-origin")
		if d.secure {
			head.Set("Cross-Origin-Opener-Policy", "same-origin") // without TLS a browser only complains about it
		}
		switch {
		case !d.called(r):
			plain(w, http.StatusMisdirectedRequest, "this controller is not called that")
			return
		case !d.sameOrigin(r):
			plain(w, http.StatusForbidden, "a page of another server may not ask this")
			return
		}
		// Some engines do not take 'self' to cover the socket.
		head.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src data:; connect-src 'self' "+
			map[bool]string{false: "ws://", true: "wss://"}[d.secure]+r.Host+"; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		next.ServeHTTP(w, r)
	})
}

// called says whether r.Host is a name of this server with its port.
func (d *door) called(r *http.Request) bool {
	local, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	return ok && d.answersTo(r.Host, local.AddrPort())
}

// answersTo says whether a server that was reached at local is called host: by
// that very address, by a loopback name on loopback, or by a name it was given.
func (d *door) answersTo(host string, local netip.AddrPort) bool {
	port := strconv.Itoa(int(local.Port()))
	name, with, err := net.SplitHostPort(host)
	if err != nil {
		name, with = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]"), "80"
		if d.secure {
			with = "443"
		}
	}
	name = strings.ToLower(name)
	if slices.ContainsFunc(d.hosts, func(h string) bool { return strings.EqualFold(h, net.JoinHostPort(name, with)) }) {
		return true
	}
	if with != port {
		return false
	}
	here := local.Addr().Unmap()
	if ip, err := netip.ParseAddr(name); err == nil {
		return ip.Unmap() == here.WithZone("") || here.IsLoopback() && ip.IsLoopback()
	}
	return name == "localhost" && here.IsLoopback() || slices.ContainsFunc(d.hosts, func(h string) bool { return strings.EqualFold(h, name) })
}

// sameOrigin says whether no page of another server has made the request.
// Without Origin and Sec-Fetch-Site it is no browser, or one that only looks.
func (d *door) sameOrigin(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
	default:
		return false
	}
	origins := r.Header.Values("Origin")
	if len(origins) == 0 {
		return true
	}
	scheme := "http://"
	if d.secure {
		scheme = "https://"
	}
	return len(origins) == 1 && strings.EqualFold(origins[0], scheme+r.Host)
}

// Ways of knowing somebody.
const (
	unknown = iota
	knows   // has the token, or needs none
	tired   // too many wrong tokens: come back later
)

// knows says whether a request comes from somebody with the token: as a
// paired tablet, or with the token itself.
func (d *door) knows(r *http.Request, now time.Time) int {
	if d.token == "" {
		return knows
	}
	if c, err := r.Cookie(cookieName); err == nil && d.paired(c.Value, now) {
		return knows
	}
	bearer, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	if !ok {
		return unknown
	}
	return d.try(addressOf(r), bearer, now)
}

// try holds a token against ours, in a time that does not tell how much of it
// is right, and not too often.
func (d *door) try(from netip.Addr, token string, now time.Time) int {
	if !d.wrong.mayTry(from, now) {
		return tired
	}
	ours, theirs := sha256.Sum256([]byte(d.token)), sha256.Sum256([]byte(token))
	if subtle.ConstantTimeCompare(ours[:], theirs[:]) == 1 {
		return knows
	}
	d.wrong.failed(from, now)
	return unknown
}

// ticket is what a paired tablet keeps: an end, a name of its own that nobody
// else can come by, and the signature of both. It can be checked without keeping
// anything here, so a controller that starts again still knows its tablets;
// another token makes all of them void.
func (d *door) ticket(until time.Time) string {
	var name [4]byte
	_, _ = rand.Read(name[:]) // it never fails
	end, id := strconv.FormatInt(until.Unix(), 10), hex.EncodeToString(name[:])
	return end + "." + id + "." + d.sign(end, id)
}

func (d *door) sign(end, id string) string {
	m := hmac.New(sha256.New, []byte(d.token))
	m.Write([]byte("cuewright tablet " + id + " until " + end))
	return hex.EncodeToString(m.Sum(nil))
}

func (d *door) paired(ticket string, now time.Time) bool { return d.named(ticket, now) != "" }

// named is the name of a ticket's own, "" when it is none of ours, or not any
// more.
func (d *door) named(ticket string, now time.Time) string {
	parts := strings.Split(ticket, ".")
	if len(parts) != 3 {
		return ""
	}
	end, id, sign := parts[0], parts[1], parts[2]
	until, err := strconv.ParseInt(end, 10, 64)
	if err != nil || !hmac.Equal([]byte(sign), []byte(d.sign(end, id))) || now.Unix() >= until {
		return ""
	}
	return id
}

// key tells a client from all others: its address, what it calls itself and,
// of a paired tablet, the name of its ticket, which is signed. So nobody without
// that ticket passes for it, be it from the same address.
func (d *door) key(r *http.Request) string {
	key := "web " + addressOf(r).String()
	if name := who(r); name != "" {
		key += " " + name
	}
	if c, err := r.Cookie(cookieName); err == nil && d.token != "" {
		if id := d.named(c.Value, d.now()); id != "" {
			key += " #" + id // of which who has no sign
		}
	}
	return key
}

// addressOf is who sent a request.
func addressOf(r *http.Request) netip.Addr {
	at, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	return at.Addr().Unmap()
}

// known is a handler for who has the token.
func (s *Surface) known(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if s.admit(w, r, s.door.knows(r, s.door.now())) {
			next(w, r)
		}
	}
}

// admit answers who is not let in.
func (s *Surface) admit(w http.ResponseWriter, r *http.Request, how int) bool {
	switch how {
	case knows:
		return true
	case tired:
		s.refused.Add(1)
		w.Header().Set("Retry-After", "12")
		plain(w, http.StatusTooManyRequests, "too many wrong codes: wait")
	default:
		s.refused.Add(1)
		w.Header().Set("WWW-Authenticate", `Bearer realm="cuewright"`)
		plain(w, http.StatusUnauthorized, "a pairing code is wanted")
	}
	return false
}

// pair gives a tablet that has the token its ticket.
func (s *Surface) pair(w http.ResponseWriter, r *http.Request) {
	var body struct {
		Code string `json:"code"`
	}
	if !isJSON(r) {
		plain(w, http.StatusUnsupportedMediaType, "JSON is wanted")
		return
	}
	if err := json.NewDecoder(r.Body).Decode(&body); err != nil {
		plain(w, http.StatusBadRequest, "not understood")
		return
	}
	how := knows
	if s.door.token != "" {
		how = s.door.try(addressOf(r), body.Code, s.door.now())
	}
	if !s.admit(w, r, how) {
		s.log.Warn("somebody could not be paired", "from", addressOf(r))
		return
	}
	if s.door.token != "" {
		http.SetCookie(w, &http.Cookie{Name: cookieName, Value: s.door.ticket(s.door.now().Add(pairedFor)), Path: "/", MaxAge: int(pairedFor.Seconds()),
			HttpOnly: true, Secure: s.secure, SameSite: http.SameSiteStrictMode})
	}
	s.log.Info("a tablet was paired", "from", addressOf(r))
	w.WriteHeader(http.StatusNoContent)
}

// isJSON: a page of another server cannot send this type without being asked
// for leave first, which it never gets.
func isJSON(r *http.Request) bool {
	kind, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";")
	return strings.EqualFold(strings.TrimSpace(kind), "application/json")
}
