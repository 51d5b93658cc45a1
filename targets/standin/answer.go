package standin

import (
	"encoding/json"
	"net/http"
	"slices"
	"strconv"

	"cuewright/macro/program"
	"cuewright/targets/observe"
	"cuewright/targets/osc"
)

// heard is the text that the plan gives an observation's variable now.
func (m *model) heard(o *program.Observation) (string, bool) {
	for _, mean := range o.Means {
		if mean.Value == m.values[o.Var] {
			return mean.Heard, true
		}
	}
	return "", false
}

// feedback is what an OSC device says when variables were touched: one message
// for each address that the plan hears one of them at, with all that it hears
// there. Arguments that the plan does not hear are 0.
func (m *model) feedback(device int32, touched []int32) []osc.Message {
	var all []osc.Message
	for i := range m.p.Observations {
		o := &m.p.Observations[i]
		if o.Device != device || o.Path == "" || !slices.Contains(touched, o.Var) {
			continue
		}
		if slices.ContainsFunc(all, func(said osc.Message) bool { return said.Path == o.Path }) {
			continue
		}
		if args := m.arguments(device, o.Path); len(args) > 0 {
			all = append(all, osc.Message{Path: o.Path, Args: args})
		}
	}
	return all
}

// maxArguments bounds what a plan's `arg` can make a stand-in send.
const maxArguments = 64

func (m *model) arguments(device int32, path string) []osc.Arg {
	var args []osc.Arg
	for i := range m.p.Observations {
		o := &m.p.Observations[i]
		text, ok := m.heard(o)
		if o.Device != device || o.Path != path || !ok || o.Arg < 0 || o.Arg >= maxArguments {
			continue
		}
		for len(args) <= int(o.Arg) {
			args = append(args, osc.Int32(0))
		}
		args[o.Arg] = argument(text)
	}
	return args
}

// argument is the argument whose text form (observe.ArgText) is text.
func argument(text string) osc.Arg {
	switch text {
	case "true", "false":
		return osc.Bool(text == "true")
	case "null":
		return osc.Null()
	}
	for _, a := range numbers(text) {
		if back, ok := observe.ArgText(a); ok && back == text {
			return a
		}
	}
	return osc.String(text)
}

func numbers(text string) []osc.Arg {
	if i, err := strconv.ParseInt(text, 10, 32); err == nil {
		return []osc.Arg{osc.Int32(int32(i))}
	}
	if i, err := strconv.ParseInt(text, 10, 64); err == nil {
		return []osc.Arg{osc.Int64(i)}
	}
	if f, err := strconv.ParseFloat(text, 64); err == nil {
		return []osc.Arg{osc.Float32(float32(f)), osc.Float64(f)}
	}
	return nil
}

// page is a device's HTTP answer.
type page struct {
	status int
	kind   string
	body   []byte
}

// state is the answer to a request that the plan asks: JSON with a value at
// each pointer, or the status or body that the plan hears. It is false when
// the plan does not ask this.
func (m *model) state(device int32, method, target string) (page, bool) {
	answer := page{status: http.StatusOK, kind: "application/json"}
	var document any = map[string]any{}
	asked, plain := false, false
	for i := range m.p.Observations {
		o := &m.p.Observations[i]
		if o.Device != device || o.Path != "" || o.Method != method || o.Target != target {
			continue
		}
		asked = true
		text, ok := m.heard(o)
		if !ok {
			continue
		}
		switch o.Pointer {
		case "status":
			if code, err := strconv.Atoi(text); err == nil && code >= 200 && code <= 599 {
				answer.status = code
			}
		case "body":
			plain, answer.kind, answer.body = true, "text/plain; charset=utf-8", []byte(text)
		default:
			if pointer, err := observe.ParsePointer(o.Pointer); err == nil {
				document = place(document, pointer, jsonValue(text))
			}
		}
	}
	if !plain {
		answer.body, _ = json.Marshal(document) // maps, texts and numbers only: it cannot fail
	}
	return answer, asked
}

// place puts a value into a document of objects.
func place(document any, at observe.Pointer, value any) any {
	if len(at) == 0 {
		return value
	}
	object, ok := document.(map[string]any)
	if !ok {
		object = map[string]any{}
	}
	object[at[0]] = place(object[at[0]], at[1:], value)
	return object
}

func jsonValue(text string) any {
	var v any
	if json.Unmarshal([]byte(text), &v) == nil {
		switch v.(type) {
		case float64:
			return json.Number(text)
		case bool, nil:
			return v
		}
	}
	return text
}
