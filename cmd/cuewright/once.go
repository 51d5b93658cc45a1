package main

import (
	"fmt"
	"strings"

	"github.com/spf13/pflag"
)

// once is the value of a flag that may be given once. Without it the last one
// would win without a word.
type once struct {
	pflag.Value
	flag  string
	given bool
}

// onlyOnce makes a flag one that may be given once, unless it takes a list or
// no value.
func onlyOnce(f *pflag.Flag) {
	if t := f.Value.Type(); t != "bool" && !strings.HasSuffix(t, "Array") && !strings.HasSuffix(t, "Slice") {
		f.Value = &once{Value: f.Value, flag: "--" + f.Name}
	}
}

// Set takes the first value.
func (o *once) Set(text string) error {
	if o.given {
		return &mistake{word: o.flag, what: fmt.Sprintf("`%s` is given twice", o.flag), mend: "give it once"}
	}
	o.given = true
	return o.Value.Set(text)
}
