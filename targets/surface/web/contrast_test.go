package web

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// luminance and contrast are those of WCAG 2.2 (relative luminance, contrast
// ratio; threshold 0.04045).
func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	n, err := strconv.ParseUint(strings.TrimPrefix(colour, "#"), 16, 32)
	if err != nil || len(colour) != 7 {
		t.Fatalf("%q is no colour", colour)
	}
	linear := func(shift uint) float64 {
		c := float64(n>>shift&0xFF) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(16) + 0.7152*linear(8) + 0.0722*linear(0)
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// TestContrastFormula: worked values, by arithmetic from the formula of WCAG
// 2.2.
func TestContrastFormula(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want float64
	}{{"#000000", "#ffffff", 21}, {"#777777", "#ffffff", 4.4781}, {"#767676", "#ffffff", 4.5422}, {"#ff0000", "#ffffff", 3.9985}, {"#ffbf00", "#000000", 12.7043}} {
		if got := contrast(t, c.a, c.b); math.Abs(got-c.want) > 0.0001 {
			t.Errorf("%s on %s: %.4f, want %.4f", c.a, c.b, got, c.want)
		}
	}
}

// TestContrast: text 7:1 (WCAG 2.2 1.4.6), edges that tell a state 3:1
// (1.4.11), of each pair that the page has.
func TestContrast(t *testing.T) {
	colours := map[string]string{}
	for _, m := range regexp.MustCompile(`--(\w+): (#[0-9a-f]{6});`).FindAllStringSubmatch(string(pageCSS), -1) {
		colours[m[1]] = m[2]
	}
	of := func(name string) string {
		if strings.HasPrefix(name, "#") {
			if !strings.Contains(string(pageCSS), name) {
				t.Errorf("the page has no %s", name)
			}
			return name
		}
		if colours[name] == "" {
			t.Errorf("the page has no --%s", name)
			return "#000000"
		}
		return colours[name]
	}
	for _, c := range []struct {
		what, a, b string
		least      float64
	}{
		{"text", "text", "ground", 7}, {"soft text", "soft", "ground", 7}, {"a key", "text", "key", 7},
		{"on air", "text", "air", 7}, {"fault", "#000000", "fault", 7}, {"failed", "text", "#000000", 7},
		{"hatched, dark stripe", "text", "#2b3036", 7}, {"hatched, light stripe", "text", "#3a4047", 7},
		{"a key's edge", "edge", "ground", 3}, {"an air key's edge", "text", "air", 3}, {"a lit key's bar", "text", "key", 3},
		{"pressed", "soft", "key", 3}, {"pressed on air", "soft", "air", 3}, {"alarm's edge", "fault", "#000000", 3}, {"notice's edge", "fault", "ground", 3},
		{"fault beside dark", "fault", "key", 3},
	} {
		if got := contrast(t, of(c.a), of(c.b)); got < c.least {
			t.Errorf("%s: %.2f, want %.1f", c.what, got, c.least)
		}
	}
}

// TestNothingBlinksFast: no animation of the page comes more than three times
// in a second (WCAG 2.2 2.3.1), and all are left out when motion is reduced.
func TestNothingBlinksFast(t *testing.T) {
	css := string(pageCSS)
	times := regexp.MustCompile(`animation:[^;]*?([\d.]+)(m?s)\b`).FindAllStringSubmatch(css, -1)
	if len(times) == 0 {
		t.Error("no animation was found: the test looks for the wrong thing")
	}
	for _, m := range times {
		seconds, err := strconv.ParseFloat(m[1], 64)
		if m[2] == "ms" {
			seconds /= 1000
		}
		if err != nil || seconds < 0.334 {
			t.Errorf("%s", m[0])
		}
	}
	_, moving, _ := strings.Cut(css, "@media (prefers-reduced-motion: no-preference)")
	if strings.Count(moving, "animation:") != strings.Count(css, "animation:") || strings.Contains(css, "transition:") {
		t.Error("something moves though motion is reduced")
	}
}

// TestNothingFromElsewhere: the page names no other server.
func TestNothingFromElsewhere(t *testing.T) {
	for path, p := range shell {
		if m := regexp.MustCompile(`(?i)(https?:)?//[a-z0-9]+\.[a-z]|@import|url\(`).Find(p.text); m != nil {
			t.Errorf("%s: %s", path, m)
		}
	}
}
