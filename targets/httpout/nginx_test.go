package httpout

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/targets/wire"
)

// The peer is nginx (Debian package nginx), which shares no code with us.
// Without it these tests are skipped, unless CUEWRIGHT_PEERS is 1.

const nginxConfig = `
daemon off; master_process off; pid DIR/pid; error_log DIR/error.log;
events { worker_connections 64; }
http {
  access_log off; root DIR/files;
  client_body_temp_path DIR/body; proxy_temp_path DIR/proxy; fastcgi_temp_path DIR/fcgi; uwsgi_temp_path DIR/uwsgi; scgi_temp_path DIR/scgi;
  server {
    listen 127.0.0.1:PORT;
    location = /connection { return 200 "$connection"; }
    location = /echo { return 200 "$request_method $request_uri $content_type $http_x_reason"; }
    location = /moved { return 301 http://127.0.0.1:1/; }
    location = /other { return 307 /connection; }
    location = /broken { return 500; }
    location = /gone { return 404 "no such clip\n"; }
    location = /odd { return 471 "odd"; }
    location = /nobody { proxy_pass http://127.0.0.1:CLOSED; }
    location = /slow { proxy_pass http://127.0.0.1:SILENT; }
    location = /trickle { limit_rate 1; }
    location /store/ { dav_methods PUT DELETE; }
    location /private/ { auth_basic "deck"; auth_basic_user_file DIR/passwords; }
  }
}
`

// nginx starts one and gives its address and a function that ends it.
func nginx(t *testing.T) (address string, stop func()) {
	t.Helper()
	path, err := exec.LookPath("nginx")
	if err != nil {
		path, err = exec.LookPath("/usr/sbin/nginx") // not on everybody's PATH
	}
	if err != nil {
		const why = "nginx is not here (Debian package nginx)"
		if os.Getenv("CUEWRIGHT_PEERS") == "1" {
			t.Fatal(why)
		}
		t.Skip(why + "; set CUEWRIGHT_PEERS=1 to make this a failure")
	}
	dir := t.TempDir()
	silent, err := net.Listen("tcp", "127.0.0.1:0") // accepts by the kernel, never answers
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = silent.Close() })
	port, closed := freePort(t), freePort(t)
	config := strings.NewReplacer("DIR", dir, "PORT", port, "CLOSED", closed, "SILENT", portOf(silent)).Replace(nginxConfig)
	write(t, dir, "nginx.conf", config)
	write(t, dir, "passwords", user+":{PLAIN}"+password+"\n") // ngx_http_auth_basic_module: {PLAIN}
	write(t, dir, "files/private/state", "cued")
	write(t, dir, "files/store/.keep", "")
	write(t, dir, "files/trickle", strings.Repeat("x", 100))
	cmd := exec.Command(path, "-p", dir, "-c", filepath.Join(dir, "nginx.conf"), "-e", filepath.Join(dir, "error.log"))
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := false
	stop = func() {
		if !ended {
			ended = true
			_ = cmd.Process.Kill()
			_ = cmd.Wait()
		}
	}
	t.Cleanup(stop)
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if conn, err := net.Dial("tcp", "127.0.0.1:"+port); err == nil {
			_ = conn.Close()
			return "127.0.0.1:" + port, stop
		}
		if time.Now().After(end) {
			text, _ := os.ReadFile(filepath.Join(dir, "error.log"))
			t.Fatalf("nginx does not come up: %s", text)
		}
	}
}

func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return portOf(l)
}

func portOf(l net.Listener) string { return fmt.Sprint(l.Addr().(*net.TCPAddr).Port) }

func write(t *testing.T, dir, name, text string) {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestAgainstNginx(t *testing.T) {
	address, stop := nginx(t)
	login := program.Device{Address: address, Login: "DECK_LOGIN"}
	open := program.Device{Address: address}
	hasty := program.Device{Address: address, Deadline: 100_000}
	for _, c := range []struct {
		what   string
		dev    program.Device
		req    program.Request
		status int
		code   diag.Code
		body   string
	}{
		{"a plain answer", open, program.Request{Method: "POST", Target: "/echo?x=%20", Header: [][2]string{{"Content-Type", "text/plain"}, {"X-Reason", "end of show"}}, Body: []byte("stop")}, 200, "", "POST /echo?x=%20 text/plain end of show"},
		{"a new thing", open, program.Request{Method: "PUT", Target: "/store/clip", Body: []byte("opener")}, 201, "", ""},
		{"the same again", open, program.Request{Method: "PUT", Target: "/store/clip", Body: []byte("goal")}, 204, "", ""},
		{"what was put", open, program.Request{Method: "GET", Target: "/store/clip"}, 200, "", "goal"},
		{"taken away", open, program.Request{Method: "DELETE", Target: "/store/clip"}, 204, "", ""},
		{"taken away twice", open, program.Request{Method: "DELETE", Target: "/store/clip"}, 404, "device-said-no", ""},
		{"with the login", login, program.Request{Method: "GET", Target: "/private/state"}, 200, "", "cued"},
		{"without the login", open, program.Request{Method: "GET", Target: "/private/state"}, 401, "device-said-no", ""},
		{"moved", login, program.Request{Method: "GET", Target: "/moved"}, 301, "device-redirects", ""},
		{"moved on the device itself", login, program.Request{Method: "POST", Target: "/other"}, 307, "device-redirects", ""},
		{"no such thing", open, program.Request{Method: "POST", Target: "/gone"}, 404, "device-said-no", ""},
		{"an odd status", open, program.Request{Method: "GET", Target: "/odd"}, 471, "device-said-no", ""},
		{"broken", open, program.Request{Method: "GET", Target: "/broken"}, 500, "device-said-no", ""},
		{"nobody behind it", open, program.Request{Method: "GET", Target: "/nobody"}, 502, "device-said-no", ""},
		{"silence behind it", hasty, program.Request{Method: "GET", Target: "/slow"}, 0, "device-no-answer", ""},
		{"a byte a second", hasty, program.Request{Method: "GET", Target: "/trickle"}, 0, "device-no-answer", ""},
	} {
		a, err := client(t, c.dev).Send(t.Context(), &c.req)
		if a.Status != c.status || wire.CodeOf(err) != c.code || (c.code == "") != (err == nil) || c.body != "" && string(a.Body) != c.body {
			t.Errorf("%s: %d %.80q, %v", c.what, a.Status, a.Body, err)
		}
	}
	t.Run("keeps its connection", func(t *testing.T) {
		c := client(t, open)
		seen := map[string]bool{}
		for range 10 {
			a, err := c.Send(t.Context(), get("/connection"))
			if err != nil {
				t.Fatal(err)
			}
			seen[string(a.Body)] = true
		}
		if len(seen) != 1 {
			t.Errorf("10 requests took connections %v", seen)
		}
		// The device goes away with the connection still kept.
		stop()
		for method, want := range map[string][]diag.Code{"GET": {"device-refused"}, "POST": {"device-refused", "device-hung-up"}} {
			_, err := c.Send(t.Context(), &program.Request{Method: method, Target: "/connection"})
			if code := wire.CodeOf(err); code != want[0] && code != want[len(want)-1] {
				t.Errorf("%s: %v", method, err)
			}
		}
	})
}
