package render

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// show is the text form of a value: 3, 0.5, text as it is, true. A number
// that happens to be whole has no fraction.
func show(v value) string {
	switch v := v.(type) {
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case bool:
		return strconv.FormatBool(v)
	case string:
		return v
	}
	return ""
}

// integer is v as a whole number from low to high.
func integer(v value, low, high int64) (int64, error) {
	switch v := v.(type) {
	case int64:
		if v < low || v > high {
			return 0, fmt.Errorf("`%d` is not from %d to %d", v, low, high)
		}
		return v, nil
	case float64:
		if v != math.Trunc(v) {
			return 0, fmt.Errorf("`%s` is not a whole number", show(v))
		}
		if v < float64(low) || v >= float64(high)+1 {
			return 0, fmt.Errorf("`%s` is not from %d to %d", show(v), low, high)
		}
		return int64(v), nil
	}
	return 0, fmt.Errorf("`%s` is not a number", show(v))
}

// decimal is v as a number.
func decimal(v value) (float64, error) {
	switch v := v.(type) {
	case int64:
		return float64(v), nil
	case float64:
		return v, nil
	}
	return 0, fmt.Errorf("`%s` is not a number", show(v))
}

// clean refuses what no wire can carry in a text.
func clean(text string) error {
	if strings.ContainsRune(text, 0) {
		return errors.New("a text with a zero byte in it cannot be sent")
	}
	if !utf8.ValidString(text) {
		return errors.New("a text that is not UTF-8 cannot be sent")
	}
	return nil
}
