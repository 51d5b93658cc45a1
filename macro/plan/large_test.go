package plan_test

import (
	"testing"

	"gopkg.in/yaml.v3"

	"cuewright/macro/plan"
	"cuewright/macro/source"
	"cuewright/sim/simtest"
)

func TestLargeRackIsRight(t *testing.T) {
	rack, found := plan.Read(source.New("rack.yaml", []byte(simtest.LargeRack(500))))
	if len(found) > 0 {
		t.Errorf("%v", found)
	}
	if len(rack.Devices) < 500 || len(rack.Ties) < 100 {
		t.Errorf("%d devices, %d tie lines", len(rack.Devices), len(rack.Ties))
	}
}

func BenchmarkRead500Devices(b *testing.B) {
	text := []byte(simtest.LargeRack(500))
	b.SetBytes(int64(len(text)))
	for range b.N {
		if rack, _ := plan.Read(source.New("rack.yaml", text)); rack.Partial {
			b.Fatal("partial")
		}
	}
}

// The YAML reader alone on the same bytes, into nodes.
func BenchmarkYAMLAlone500Devices(b *testing.B) {
	text := []byte(simtest.LargeRack(500))
	b.SetBytes(int64(len(text)))
	for range b.N {
		var doc yaml.Node
		if err := yaml.Unmarshal(text, &doc); err != nil {
			b.Fatal(err)
		}
	}
}
