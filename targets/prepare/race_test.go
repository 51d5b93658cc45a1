//go:build race

package prepare

func init() { underRace = true }
