package syntax

// slab hands out short slices from long ones, so that a show of ten thousand
// buttons is not a hundred thousand small allocations.
type slab[T any] struct{ free []T }

// take gives n zero values, with no room to grow into the next ones.
func (s *slab[T]) take(n int) []T {
	if n == 0 {
		return nil
	}
	if n > len(s.free) {
		s.free = make([]T, max(n, 256))
	}
	out := s.free[:n:n]
	s.free = s.free[n:]
	return out
}

// keep copies list into the slab.
func (s *slab[T]) keep(list []T) []T {
	out := s.take(len(list))
	copy(out, list)
	return out
}

// slabs are the parser's slabs, and the stack on which lists grow before they
// are kept.
type slabs struct {
	actions    slab[Action]
	blocks     slab[Block]
	buttons    slab[Button]
	conds      slab[Cond]
	lamps      slab[Lamp]
	lampLists  slab[*Lamp]
	lists      slab[[]Operand]
	operands   slab[Operand]
	words      slab[string]
	statements slab[Statement]
	pending    []Statement
}
