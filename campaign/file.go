package campaign

import "embed"

// What a campaign file may hold. Each limit is named in the error that it causes.
const (
	MaxFile    = 64 << 10 // bytes of a file
	MaxRegions = 60
	MaxLinks   = 240
	MaxCourse  = 60 // points of the river
	MaxHomes   = 16
	MinHomes   = 2
	MaxGrades  = 10
	MaxName    = 40   // characters of a title, an id, a home
	MaxSide    = 1000 // x and y of a region go from 0 to this
	Beyond     = 1000 // how far off the map the river may run, on every side
	MaxDays    = 60   // of a round
	MaxRule    = 99   // experience for one deed, either way
	MaxCareer  = 9999 // experience of one unit, and the highest grade's start
)

// File is a campaign file that was read and found good: the map and what
// counts there. It is never changed, so states may share it.
type File struct {
	SHA256     string // hex, of the bytes it was read from
	Title      string
	RoundDays  int
	Regions    []Region
	Links      []Link
	River      []Spot  // its course, for the picture only
	Grades     []Grade // rising; the first begins at 0
	Experience Experience
}

// Region is a piece of the map. X runs east and Y south, 0 to MaxSide.
type Region struct {
	ID    string
	Title string
	Home  string // the side that may begin here; "" for a region that is nobody's home
	X, Y  int
}

// Link joins two regions, each way.
type Link struct {
	Between [2]string
	By      string // "road", "river" or "pass": for the picture, the rules see no difference
}

// Spot is a point of the map or beside it, X east and Y south.
type Spot struct{ X, Y int }

// Grade is what a unit is called from so much experience on.
type Grade struct {
	ID   string
	From int
}

// Experience says what a unit earns in a battle.
type Experience struct {
	Fought int // for having been there
	Broke  int // for each enemy unit that it broke
	Won    int // if its side won
	Fell   int // if the unit itself fell; may be below zero
}

// What a file gets that does not say otherwise.
var (
	usualGrades     = []Grade{{"green", 0}, {"steady", 5}, {"seasoned", 12}, {"proven", 21}, {"storied", 32}}
	usualExperience = Experience{Fought: 2, Broke: 3}
)

const usualDays = 7

// Region finds a region by its id.
func (f *File) Region(id string) (Region, bool) {
	if i := f.index(id); i >= 0 {
		return f.Regions[i], true
	}
	return Region{}, false
}

// index is the place of a region in the file, -1 for an unknown one.
func (f *File) index(id string) int {
	if f == nil {
		return -1
	}
	for i, r := range f.Regions {
		if r.ID == id {
			return i
		}
	}
	return -1
}

// Linked lists the regions next to one, in the order of the file's links.
func (f *File) Linked(id string) []string {
	var out []string
	for _, l := range f.Links {
		switch id {
		case l.Between[0]:
			out = append(out, l.Between[1])
		case l.Between[1]:
			out = append(out, l.Between[0])
		}
	}
	return out
}

// Grade names what a unit of that experience is, and from where that counts.
func (f *File) Grade(experience int) Grade {
	g := f.Grades[0]
	for _, next := range f.Grades[1:] {
		if experience < next.From {
			break
		}
		g = next
	}
	return g
}

// begins is the experience from which a grade counts; 0 for an unknown one.
func (f *File) begins(grade string) int {
	if f == nil {
		return 0
	}
	for _, g := range f.Grades {
		if g.ID == grade {
			return g.From
		}
	}
	return 0
}

//go:embed maps/*.toml
var maps embed.FS

// Builtin gives the bytes of a campaign file that the program carries.
func Builtin(name string) ([]byte, bool) {
	b, err := maps.ReadFile("maps/" + name + ".toml")
	return b, err == nil
}

// Builtins names the campaign files that the program carries.
func Builtins() []string { return []string{"osier"} }
