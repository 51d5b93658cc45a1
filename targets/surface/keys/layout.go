package keys

import "cuewright/targets/surface"

// place is where a key stands on the grid, from 1.
type place struct{ row, column int32 }

// rows are the key codes (input-event-codes.h) of the four rows of a keyboard
// as they lie under the hand, whatever is printed on them, and of a keypad.
var (
	typewriter = [][]uint16{
		{2, 3, 4, 5, 6, 7, 8, 9, 10, 11},         // 1 … 0
		{16, 17, 18, 19, 20, 21, 22, 23, 24, 25}, // Q … P
		{30, 31, 32, 33, 34, 35, 36, 37, 38, 39}, // A … ;
		{44, 45, 46, 47, 48, 49, 50, 51, 52, 53}, // Z … /
	}
	keypad = [][]uint16{
		{71, 72, 73}, // 7 8 9
		{75, 76, 77}, // 4 5 6
		{79, 80, 81}, // 1 2 3
		{82, 83, 96}, // 0 . Enter
	}
	places = placed(typewriter, keypad)
)

// commands are the keys that are no buttons.
var commands = map[uint16]surface.Kind{
	57: surface.Go,      // Space
	14: surface.Back,    // Backspace
	15: surface.Skip,    // Tab
	1:  surface.StopAll, // Escape

	28:  surface.Keep,     // Enter
	111: surface.Return,   // Delete
	102: surface.TakeOver, // Home
	107: surface.GiveBack, // End
}

func placed(pads ...[][]uint16) map[uint16]place {
	all := map[uint16]place{}
	for _, pad := range pads {
		for row, codes := range pad {
			for column, code := range codes {
				all[code] = place{int32(row) + 1, int32(column) + 1}
			}
		}
	}
	return all
}
