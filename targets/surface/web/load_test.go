package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

// viewOf is what a client sees. head is as in call.
func viewOf(t *testing.T, s *Surface, head ...string) snapshot {
	t.Helper()
	status, text := call(t, s, "GET", "/api/view?who=front", "", head...)
	var v snapshot
	if err := json.Unmarshal([]byte(text), &v); err != nil || status != http.StatusOK {
		t.Fatalf("%d %s: %v", status, text, err)
	}
	return v
}

// TestLoad: what each request asks of the desk, and what comes back.
func TestLoad(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	for _, c := range []struct {
		body   string
		status int
		want   surface.Load
	}{
		{`{}`, http.StatusOK, surface.Load{}},
		{`{"force":true}`, http.StatusOK, surface.Load{Force: true}},
		{`{"trial":0}`, http.StatusOK, surface.Load{Trial: surface.UsualTrial}},
		{`{"trial":2.5}`, http.StatusOK, surface.Load{Trial: 2500 * time.Millisecond}},
		{`{"trial":1e300}`, http.StatusOK, surface.Load{Trial: 1e6 * time.Second}}, // for the desk to refuse
		{`{"trial":-7}`, http.StatusOK, surface.Load{Trial: -time.Second}},
		{`{"expect":"0123456789ab"}`, http.StatusConflict, surface.Load{Expect: "0123456789ab"}}, // this desk expects nothing
	} {
		status, text := call(t, s, "POST", "/api/load?who=front", c.body)
		all := d.Loads()
		c.want.By = "web 127.0.0.1 front"
		if status != c.status || all[len(all)-1] != c.want {
			t.Errorf("%s: %d %s, asked for %+v", c.body, status, text, all[len(all)-1])
		}
		var got loaded
		if err := json.Unmarshal([]byte(text), &got); err != nil || got.Taken != (status == http.StatusOK) || got.Text == "" || got.Waits == nil {
			t.Errorf("%s: %s: %v", c.body, text, err)
		}
	}
	n := len(d.Loads())
	for body, want := range map[string]int{`{"trial":"soon"}`: 400, `x`: 400, `{"trial":1,"expect":"` + strings.Repeat("x", maxBody) + `"}`: 400} {
		if status, text := call(t, s, "POST", "/api/load", body); status != want {
			t.Errorf("%.30s: %d %s", body, status, text)
		}
	}
	if status, _ := call(t, s, "POST", "/api/load", "{}", "Content-Type", "text/plain"); status != http.StatusUnsupportedMediaType {
		t.Errorf("as a form would send it: %d", status)
	}
	if status, _ := call(t, s, "GET", "/api/load", ""); status != http.StatusMethodNotAllowed {
		t.Errorf("by GET: %d", status)
	}
	closed := serve(t, d, Config{Token: secret})
	if status, _ := call(t, closed, "POST", "/api/load", "{}"); status != http.StatusUnauthorized {
		t.Errorf("without the token: %d", status)
	}
	if len(d.Loads()) != n {
		t.Errorf("%d loads came of these", len(d.Loads())-n)
	}
}

// TestTrialIsShown: the count-down, what is to come, and one press that keeps it.
func TestTrialIsShown(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	if v := viewOf(t, s); v.Trial != nil {
		t.Errorf("%+v", v.Trial)
	}
	c := dial(t, s, nil)
	call(t, s, "POST", "/api/load?who=front", `{"trial":60}`)
	v := next(t, c, "a trial", func(m message) bool { return m.View != nil && m.View.Trial != nil }).View
	if v.Trial.Left < 30_000 || v.Trial.Left > 60_000 || v.Trial.By != "web 127.0.0.1 front" || fmt.Sprint(v.Trial.Returns) != "[cut main to wide]" || v.Trial.Stays == nil {
		t.Errorf("%+v", v.Trial)
	}
	first := next(t, c, "a count-down", func(m message) bool { return m.Alive != nil }).Alive.Left
	next(t, c, "that it goes on", func(m message) bool { return m.Alive != nil && m.Alive.Left < first })
	if _, text := call(t, s, "POST", "/api/press", `{"kind":"keep","running":"of an older page"}`); !strings.Contains(text, "the show has changed") {
		t.Errorf("kept by who did not see it: %s", text)
	}
	write(t, c, `{"id":"k","kind":"keep","running":"`+v.Running+`"}`)
	next(t, c, "that it was kept", func(m message) bool { return m.View != nil && m.View.Trial == nil })
}

// TestTicketsAreTold: two tablets with the code at one address that call
// themselves the same are two, and none passes for the other.
func TestTicketsAreTold(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{Token: secret})
	until := time.Now().Add(time.Hour)
	one := []string{"Cookie", cookieName + "=" + s.door.ticket(until)}
	two := []string{"Cookie", cookieName + "=" + s.door.ticket(until)}
	bearer := []string{"Authorization", "Bearer " + secret}
	press := func(head []string, who, body string) string {
		t.Helper()
		_, text := call(t, s, "POST", "/api/press?who="+who, body, head...)
		return text
	}
	const wide = `{"kind":"tap","surface":"desk","row":1,"column":1}`
	if text := press(one, "front", `{"kind":"take","surface":"desk"}`); !strings.Contains(text, `"done"`) {
		t.Fatal(text)
	}
	you := viewOf(t, s, one...).You
	if v := viewOf(t, s, two...); v.Surfaces[0].Holder != you || v.You == you || v.Surfaces[1].Holder != "" {
		t.Errorf("%s holds it, seen by %s", v.Surfaces[0].Holder, v.You)
	}
	_, id, _ := strings.Cut(you, "#")
	for name, c := range map[string]struct {
		head []string
		who  string
	}{"the same name": {two, "front"}, "the token": {bearer, "front"}, "the token, and its name": {bearer, "front%20%23" + id}} {
		if text := press(c.head, c.who, wide); !strings.Contains(text, "desk has been taken over by "+you) {
			t.Errorf("%s passes: %s", name, text)
		}
	}
	if text := press(one, "front", wide); !strings.Contains(text, `"done"`) {
		t.Errorf("the taker: %s", text)
	}
	if text := press(two, "front", `{"kind":"stop"}`); !strings.Contains(text, `"done"`) {
		t.Errorf("stop all: %s", text)
	}
	s.clients.dropSilent(time.Now().Add(2 * silence))
	if v := viewOf(t, s, two...); v.Surfaces[0].Holder != "" {
		t.Errorf("who has gone still holds it: %s", v.Surfaces[0].Holder)
	}
}

// reloaded is a desk whose show was just loaded anew. It keeps what is pressed.
type reloaded struct {
	*surfacetest.Desk
	before *program.Program
	got    []surface.Press
}

func (d *reloaded) View() *surface.View {
	v := *d.Desk.View()
	v.Before, v.RanBefore = d.before, "the digest before"
	return &v
}

func (d *reloaded) Press(p surface.Press) surface.Answer {
	d.got = append(d.got, p)
	if p.Judged != nil {
		return *p.Judged
	}
	return surface.Answer{}
}

// TestPageOfTheShowBefore: a touch on the page of the show before is put to the
// desk as that, one of an older show is not; coming up and stop all always are.
func TestPageOfTheShowBefore(t *testing.T) {
	before := *surfacetest.Show(t)
	d := &reloaded{Desk: surfacetest.New(t, surfacetest.Show(t)), before: &before}
	c := &client{hand: surface.Hand{Desk: d, By: "test"}}
	tap := request{Kind: "down", Surface: "desk", Page: "crew", Running: "the digest before", Row: 1, Column: 3}
	if a := c.do(tap); a.Outcome != "done" {
		t.Errorf("%+v", a)
	}
	if p := d.got[0]; p.Of != &before || before.Buttons[p.Button].Label != "Doors" || p.Surface != 0 {
		t.Errorf("it came as %+v", p)
	}
	tap.Kind = "up"
	if a := c.do(tap); a.Outcome != "done" || d.got[1].Of != &before || d.got[1].Button != d.got[0].Button {
		t.Errorf("the finger comes up: %+v, %+v", a, d.got[1])
	}
	for i, q := range []request{
		{Kind: "tap", Surface: "desk", Page: "crew", Running: "an older one", Row: 1, Column: 3},
		{Kind: "tap", Surface: "desk", Running: "the digest before", Row: 1, Column: 3},
		{Kind: "tap", Surface: "desk", Page: "crew", Running: "the digest before", Row: 3, Column: 3},
		{Kind: "keep", Running: "the digest before"},
	} {
		if a := c.do(q); a.Outcome != "refused" {
			t.Errorf("%d: %+v", i, a)
		}
		if p := d.got[len(d.got)-1]; p.Judged == nil {
			t.Errorf("%d: it was pressed, or is not logged: %+v", i, p)
		}
	}
	if a := c.do(request{Kind: "stop", Running: "an older one"}); a.Outcome != "done" {
		t.Errorf("stop all: %+v", a)
	}
}
