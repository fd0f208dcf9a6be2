package scope_test

import (
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/record"
	"thudbook/sync/scope"
)

func TestScope(t *testing.T) {
	a, b, c := uuid.New(), uuid.New(), uuid.New()
	cases := []struct {
		name     string
		s        scope.Scope
		allows   []record.LabID
		refuses  []record.LabID
		isEmpty  bool
		listSize int
	}{
		{"zero shows nothing", scope.Scope{}, nil, []record.LabID{a, b, c, {}}, true, 0},
		{"no labs", scope.Labs(), nil, []record.LabID{a, {}}, true, 0},
		{"zero id is no lab", scope.Labs(record.LabID{}), nil, []record.LabID{a, {}}, true, 0},
		{"two labs, one twice", scope.Labs(b, a, b), []record.LabID{a, b}, []record.LabID{c, {}}, false, 2},
		{"all", scope.All(), []record.LabID{a, b, c}, nil, false, 0},
		{"all, narrowed", scope.All().Only(b), []record.LabID{b}, []record.LabID{a, c}, false, 1},
		{"narrowing never widens", scope.Labs(a).Only(a, b, c), []record.LabID{a}, []record.LabID{b, c}, false, 1},
		{"narrowed to nothing", scope.Labs(a).Only(c), nil, []record.LabID{a, c}, true, 0},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			for _, id := range tc.allows {
				if !tc.s.Allows(id) {
					t.Errorf("Allows(%v) = false", id)
				}
			}
			for _, id := range tc.refuses {
				if tc.s.Allows(id) {
					t.Errorf("Allows(%v) = true", id)
				}
			}
			if tc.s.Empty() != tc.isEmpty {
				t.Errorf("Empty = %v, want %v", tc.s.Empty(), tc.isEmpty)
			}
			if l, _ := tc.s.List(); len(l) != tc.listSize {
				t.Errorf("List has %d labs, want %d", len(l), tc.listSize)
			}
		})
	}
}

func TestListIsACopy(t *testing.T) {
	a := uuid.New()
	s := scope.Labs(a)
	l, _ := s.List()
	l[0] = uuid.New()
	if !s.Allows(a) {
		t.Error("changing the list changed the scope")
	}
}
