package prepare

import (
	"io/fs"
	"testing"

	"gopkg.in/yaml.v3"

	"cuewright/macro/check"
	"cuewright/macro/plan"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"cuewright/sim/simtest"
)

// BenchmarkCheckLarge is a show of 10,000 buttons on 100 pages and a rack of
// 500 devices: whole is all that `check` does (read both, check, compile,
// render), stages only reads and checks. The yaml case decodes the same number
// of bytes with yaml.v3, as the floor.
func BenchmarkCheckLarge(b *testing.B) {
	files := map[string]string{"large.show": simtest.LargeShow(100), "rack.yaml": simtest.LargeRack(500)}
	read := func(path string) ([]byte, error) {
		if text, ok := files[path]; ok {
			return []byte(text), nil
		}
		return nil, fs.ErrNotExist
	}
	size := len(files["large.show"]) + len(files["rack.yaml"])
	b.Run("stages", func(b *testing.B) {
		b.SetBytes(int64(size))
		for b.Loop() {
			tree, _ := syntax.Parse(source.New("large.show", []byte(files["large.show"])))
			rack, _ := plan.Read(source.New("rack.yaml", []byte(files["rack.yaml"])))
			if _, found := check.Show(tree, rack); found.Blocking() {
				b.Fatal(found)
			}
		}
	})
	b.Run("whole", func(b *testing.B) {
		b.SetBytes(int64(size))
		for b.Loop() {
			if r := Show("large.show", read); r.Program == nil {
				b.Fatal(r.Findings)
			}
		}
	})
	b.Run("yaml", func(b *testing.B) {
		text := []byte(files["rack.yaml"])
		b.SetBytes(int64(size))
		for b.Loop() {
			for done := 0; done < size; done += len(text) {
				var doc yaml.Node
				if err := yaml.Unmarshal(text[:min(len(text), size)], &doc); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
}
