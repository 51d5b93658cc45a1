package bug

import "testing"

func TestReportPanicsInTests(t *testing.T) {
	defer func() {
		if got := recover(); got != "bug: 1 is 2" {
			t.Errorf("recovered %v", got)
		}
	}()
	Report("%d is %d", 1, 2)
}
