package systemd

import (
	"fmt"
	"path"
	"strings"
)

// Unit is the unit file of a service that runs a show: see systemd.unit(5),
// systemd.service(5), systemd.exec(5) and systemd.resource-control(5). The
// service has a user of its own that exists only while it runs, one folder that
// it can write to, a read-only system around it, no privileges, and no devices
// but those that are asked for.
type Unit struct {
	Program     string       // absolute path of the program
	Show        string       // absolute path of the show
	Args        []string     // what comes behind the show, as it is; %S and %% and the like are not seen to
	Credentials []Credential // files that only root can read, for the service alone
	MIDI, Keys  bool         // it reads sound devices, or input devices
}

// Credential is a file that the service finds under Name in the folder that
// CREDENTIALS_DIRECTORY names.
type Credential struct{ Name, File string }

// Name is what the unit file is called.
const Name = "cuewright.service"

// Path is where an administrator's unit files are.
var Path = path.Join("/etc/systemd/system", Name)

// State is the folder that the service can write to.
const State = "/var/lib/cuewright"

// Environment is the file with the credentials of devices.
const Environment = "/etc/cuewright/environment"

// InCredentials is a value of Args: the file of a credential.
func InCredentials(name string) string { return "${CREDENTIALS_DIRECTORY}/" + name }

// Quote makes a text one word of a command line in a unit file, with nothing
// in it that is replaced (systemd.service(5), "Command lines", and
// systemd.unit(5), "Specifiers").
func Quote(text string) string {
	text = strings.NewReplacer("%", "%%", "$", "$$").Replace(text)
	if text != "" && !strings.ContainsAny(text, " \t\n\r\"'\\;") {
		return text
	}
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`, "\r", `\r`).Replace(text) + `"`
}

// Text is the file.
func (u *Unit) Text() string {
	var b strings.Builder
	b.WriteString(`# Written by "cuewright install-unit". Write it anew rather than changing it here;
# what has to differ goes into cuewright.service.d/*.conf (systemd.unit(5)).
[Unit]
Description=Cuewright: runs a live show
Wants=network-online.target
After=network-online.target
StartLimitIntervalSec=1min
StartLimitBurst=5

[Service]
# Ready is when presses are taken; the pings come from the loop that does them.
Type=notify
NotifyAccess=main
WatchdogSec=10
`)
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	words := append([]string{Quote(u.Program), "run", Quote(u.Show), "--state=%S/cuewright"}, u.Args...)
	line("ExecStart=%s", strings.Join(words, " "))
	b.WriteString(`ExecReload=/bin/kill -HUP $MAINPID
Restart=on-failure
RestartSec=1
# Called wrongly, or a show with errors: trying again changes nothing.
RestartPreventExitStatus=2
TimeoutStopSec=10

`)
	line("# Credentials of devices, NAME=VALUE, for root alone.\nEnvironmentFile=-%s", Environment)
	for _, c := range u.Credentials {
		line("LoadCredential=%s:%s", c.Name, strings.ReplaceAll(c.File, "%", "%%"))
	}
	b.WriteString(confinement)
	u.devices(line)
	b.WriteString(`
[Install]
WantedBy=multi-user.target
`)
	return b.String()
}

// confinement is the same for every show.
const confinement = `
# Its only own folder; everything else is there to read, and mostly not at all.
DynamicUser=yes
StateDirectory=cuewright
StateDirectoryMode=0700
UMask=0077
ProtectSystem=strict
ProtectHome=yes
PrivateTmp=yes
PrivateMounts=yes
ProtectProc=invisible
ProcSubset=pid
ProtectClock=yes
ProtectHostname=yes
ProtectControlGroups=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes

NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
RestrictSUIDSGID=yes
RestrictNamespaces=yes
RestrictRealtime=yes
LockPersonality=yes
MemoryDenyWriteExecute=yes
KeyringMode=private
RemoveIPC=yes
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
SystemCallErrorNumber=EPERM

# Many times what it needs: a show that wants more has gone wrong.
MemoryMax=256M
TasksMax=128
OOMScoreAdjust=-500
`

// devices lets the service have those that it needs, by their classes in
// /proc/devices, so that they can be plugged in later.
func (u *Unit) devices(line func(string, ...any)) {
	if !u.MIDI && !u.Keys {
		line("PrivateDevices=yes\nDevicePolicy=closed\nPrivateUsers=yes")
		return
	}
	line("DevicePolicy=closed")
	if u.MIDI {
		line("DeviceAllow=char-alsa rw\nSupplementaryGroups=audio")
	}
	if u.Keys {
		line("DeviceAllow=char-input rw\nSupplementaryGroups=input")
	}
}
