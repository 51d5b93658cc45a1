package osctest

import (
	"encoding/xml"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"cuewright/targets/osc"
)

// Dissect is what tshark reads in datagrams, in the words of Words. Without
// tshark the test is skipped, or fails when CUEWRIGHT_PEERS is 1.
func Dissect(t testing.TB, all []Datagram) []string {
	t.Helper()
	tshark, err := exec.LookPath("tshark")
	if err != nil {
		if os.Getenv("CUEWRIGHT_PEERS") == "1" {
			t.Fatal("tshark is not here (Debian package tshark)")
		}
		t.Skip("tshark is not here (Debian package tshark); set CUEWRIGHT_PEERS=1 to make this a failure")
	}
	file := filepath.Join(t.TempDir(), "run.pcap")
	if err := os.WriteFile(file, Pcap(all), 0o600); err != nil {
		t.Fatal(err)
	}
	c := exec.Command(tshark, "-n", "-r", file, "--enable-heuristic", "osc_udp", "-T", "pdml")
	c.Env = append(os.Environ(), "TZ=UTC", "HOME="+t.TempDir())
	out, err := c.Output()
	if err != nil {
		t.Fatalf("tshark: %v", err)
	}
	var read struct {
		Packets []struct {
			Protos []element `xml:"proto"`
		} `xml:"packet"`
	}
	if err := xml.Unmarshal(out, &read); err != nil {
		t.Fatalf("what tshark says cannot be read: %v", err)
	}
	if len(read.Packets) != len(all) {
		t.Fatalf("tshark has read %d of %d datagrams", len(read.Packets), len(all))
	}
	words := make([]string, len(all))
	for i, p := range read.Packets {
		for _, proto := range p.Protos {
			switch proto.Name {
			case "osc":
				words[i] = strings.Join(proto.words(), " ")
			case "geninfo", "frame", "raw", "ip", "udp":
			default:
				words[i] += " [" + proto.Name + "]" // as "_ws.malformed"
			}
		}
	}
	return words
}

// element is a part of what tshark has read: its name, how it shows the value,
// and the bytes.
type element struct {
	Name     string    `xml:"name,attr"`
	ShowName string    `xml:"showname,attr"`
	Show     string    `xml:"show,attr"`
	Value    string    `xml:"value,attr"`
	Whole    string    `xml:"unmaskedvalue,attr"` // of a value of some bits: its byte
	Fields   []element `xml:"field"`
}

func (e *element) words() (all []string) {
	for i := range e.Fields {
		all = append(all, e.Fields[i].word())
	}
	return all
}

func (e *element) word() string {
	switch strings.TrimPrefix(e.Name, "osc.") {
	case "bundle":
		return "{ " + strings.Join(e.words(), " ") + " }"
	case "bundle.element.size":
		return "+" + e.Show
	case "bundle.timetag", "message.timetag":
		if strings.HasSuffix(e.ShowName, "Immediate") {
			return "immediately"
		}
		at, _, _ := strings.Cut(e.Show, ".")
		return at + e.Show[len(at):min(len(e.Show), len(at)+4)]
	case "message", "message.header":
		return strings.Join(e.words(), " ")
	case "message.float", "message.double":
		v, err := strconv.ParseFloat(e.Show, 64)
		if err != nil {
			return "?" + e.Show
		}
		return number(v)
	case "message.string", "message.symbol", "message.char":
		return strconv.Quote(e.Show)
	case "message.blob":
		return e.blob()
	case "message.midi":
		return e.midi()
	case "message.rgba", "message.int32", "message.int64", "message.header.path", "message.header.format":
		return e.Show
	}
	return strings.TrimPrefix(e.Name, "osc.message.") // true, false, nil, bang
}

// blob is the bytes of a blob, without those that fill it up.
func (e *element) blob() string {
	size, data := "?", ""
	for _, f := range e.Fields {
		switch f.Name {
		case "osc.message.blob.size":
			size = f.Show
		case "osc.message.blob.data":
			data = f.Value
		}
	}
	n, err := strconv.Atoi(size)
	if err != nil || 2*n > len(data) || strings.Trim(data[2*n:], "0") != "" {
		return "blob of " + size + ": " + data
	}
	return "blob " + data[:2*n]
}

// midi is the four bytes of a message that has two of data.
func (e *element) midi() string {
	word := "midi"
	for i, f := range e.Fields {
		switch {
		case i == 0:
			word += " " + f.Value
		case i != 2: // the channel is in the byte of the status
			word += " " + f.Whole
		}
	}
	return word
}

// Words is a packet in the words that Dissect has: { time +size element … }
// for a bundle, the address, the type tags and the values for a message. Times
// are to the millisecond, numbers to six digits.
func Words(p osc.Packet) string {
	var words []string
	if b, ok := p.(osc.Bundle); ok {
		words = append(words, "{", timeWords(b.Time))
		for _, e := range b.Elements {
			packet, err := osc.AppendPacket(nil, e)
			if err != nil {
				return err.Error()
			}
			words = append(words, "+"+strconv.Itoa(len(packet)), Words(e))
		}
		return strings.Join(append(words, "}"), " ")
	}
	m := p.(osc.Message)
	tags := ","
	for _, a := range m.Args {
		tags += string(rune(a.Tag))
		words = append(words, argument(a))
	}
	return strings.Join(append([]string{m.Path, tags}, words...), " ")
}

func timeWords(at osc.TimeTag) string {
	if at == osc.Immediately {
		return "immediately"
	}
	return at.Time(time.Now()).UTC().Truncate(time.Millisecond).Format("Jan _2, 2006 15:04:05.000")
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func argument(a osc.Arg) string {
	switch a.Tag {
	case 'f', 'd':
		return number(a.Float())
	case 's', 'S':
		return strconv.Quote(a.Text())
	case 'c':
		return strconv.Quote(string(rune(a.Int())))
	case 'b':
		return fmt.Sprintf("blob %x", a.Bytes())
	case 't':
		return timeWords(a.Time())
	case 'm':
		b := a.Bytes()
		return fmt.Sprintf("midi %02x %02x %02x %02x", b[0], b[1], b[2], b[3])
	case 'r':
		return fmt.Sprintf("0x%x", a.Bytes())
	case 'i', 'h':
		return strconv.FormatInt(a.Int(), 10)
	}
	return map[byte]string{'T': "true", 'F': "false", 'N': "nil", 'I': "bang"}[a.Tag]
}
