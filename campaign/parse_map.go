package campaign

import (
	"strings"

	"drumhead/engine/reason"
)

const (
	exampleRegion = `{ id = "alder ford", title = "Alder Ford", x = 310, y = 270 }`
	exampleLink   = `{ between = ["alder ford", "sallow mill"], by = "road" }`
	exampleRiver  = `river = [[-100, 180], [110, 170], [300, 330]]`
	exampleGrade  = `{ id = "seasoned", from = 12 }`
)

func (r *reader) head(w *written) (err error) {
	if err = r.name("title", w.Title, `title = "Osier"`); err != nil {
		return err
	}
	r.file.Title = w.Title
	r.file.RoundDays, err = r.number("round_days", w.RoundDays, usualDays, 1, MaxDays)
	return err
}

func (r *reader) regions(w *written) error {
	if n := len(w.Regions); n > MaxRegions {
		return r.fault(part("region", MaxRegions), "", "many", "what", "regions", "count", n, "most", MaxRegions)
	}
	taken := map[string]bool{}
	for i, v := range w.Regions {
		if err := r.id(part("region", i, "id"), v.ID, exampleRegion); err != nil {
			return err
		}
		if err := r.name(part("region", i, "title"), v.Title, exampleRegion); err != nil {
			return err
		}
		for _, said := range []string{"id " + v.ID, "title " + strings.ToLower(v.Title)} {
			key, name, _ := strings.Cut(said, " ")
			if taken[said] {
				return r.fault(part("region", i, key), exampleRegion, "twice", "name", reason.Name(name))
			}
			taken[said] = true
		}
		x, y, err := r.spot(i, v.X, v.Y)
		if err != nil {
			return err
		}
		r.file.Regions = append(r.file.Regions, Region{ID: v.ID, Title: v.Title, Home: v.Home, X: x, Y: y})
	}
	return nil
}

// spot checks where a region lies: on the map, and not where another lies.
func (r *reader) spot(i int, x, y *int) (int, int, error) {
	for _, v := range []struct {
		key   string
		value *int
	}{{"x", x}, {"y", y}} {
		where := part("region", i, v.key)
		if v.value == nil {
			return 0, 0, r.fault(where, exampleRegion, "missing", "key", v.key)
		}
		if _, err := r.number(where, v.value, MaxSide/2, 0, MaxSide); err != nil {
			return 0, 0, err
		}
	}
	for _, other := range r.file.Regions {
		if other.X == *x && other.Y == *y {
			return 0, 0, r.fault(part("region", i, "x"), exampleRegion, "spot", "other", reason.Name(other.Title))
		}
	}
	return *x, *y, nil
}

func (r *reader) homes(w *written) error {
	taken := map[string]bool{}
	for i, v := range w.Regions {
		if v.Home == "" {
			continue
		}
		where := part("region", i, "home")
		if err := r.name(where, v.Home, `home = "Upper Locks"`); err != nil {
			return err
		}
		if said := strings.ToLower(v.Home); taken[said] {
			return r.fault(where, `home = "Upper Locks"`, "twice", "name", reason.Name(v.Home))
		} else {
			taken[said] = true
		}
		if len(taken) > MaxHomes {
			return r.fault(where, "", "many", "what", "homes", "count", len(taken), "most", MaxHomes)
		}
	}
	if len(taken) < MinHomes {
		return r.fault("region", `home = "Upper Locks"`, "homes", "count", len(taken), "least", MinHomes)
	}
	return nil
}

func (r *reader) links(w *written) error {
	if n := len(w.Links); n > MaxLinks {
		return r.fault(part("link", MaxLinks), "", "many", "what", "links", "count", n, "most", MaxLinks)
	}
	taken := map[[2]string]bool{}
	for i, v := range w.Links {
		where := part("link", i, "between")
		if len(v.Between) != 2 || v.Between[0] == v.Between[1] {
			return r.fault(where, exampleLink, "between")
		}
		for _, id := range v.Between {
			if r.file.index(id) < 0 {
				return r.fault(where, exampleLink, "region", "name", reason.Name(id))
			}
		}
		a, b := v.Between[0], v.Between[1]
		if taken[[2]string{a, b}] || taken[[2]string{b, a}] {
			return r.fault(where, exampleLink, "twice", "name", reason.Name(a+" - "+b))
		}
		taken[[2]string{a, b}] = true
		by := v.By
		switch by {
		case "":
			by = "road"
		case "road", "river", "pass":
		default:
			return r.fault(part("link", i, "by"), `by = "river"`, "by", "name", reason.Name(by))
		}
		r.file.Links = append(r.file.Links, Link{Between: [2]string{a, b}, By: by})
	}
	return nil
}

// river reads the course of a river: none, or from two points on.
func (r *reader) river(w *written) error {
	if n := len(w.River); n == 1 || n > MaxCourse {
		return r.fault("river", exampleRiver, "river", "count", n, "most", MaxCourse)
	}
	for i, v := range w.River {
		where := part("river", i)
		if len(v) != 2 {
			return r.fault(where, exampleRiver, "spots")
		}
		for _, n := range v {
			if n < -Beyond || n > MaxSide+Beyond {
				return r.fault(where, exampleRiver, "number", "key", "river", "value", n, "least", -Beyond, "most", MaxSide+Beyond)
			}
		}
		r.file.River = append(r.file.River, Spot{X: v[0], Y: v[1]})
	}
	return nil
}

// joined refuses a map in two pieces: what lies in the other could never be
// fought for.
func (r *reader) joined(*written) error {
	reached := map[string]bool{r.file.Regions[0].ID: true}
	todo := []string{r.file.Regions[0].ID}
	for len(todo) > 0 {
		here := todo[0]
		todo = todo[1:]
		for _, next := range r.file.Linked(here) {
			if !reached[next] {
				reached[next] = true
				todo = append(todo, next)
			}
		}
	}
	for i, g := range r.file.Regions {
		if !reached[g.ID] {
			return r.fault(part("region", i), exampleLink, "apart",
				"region", reason.Name(g.Title), "first", reason.Name(r.file.Regions[0].Title))
		}
	}
	return nil
}

func (r *reader) grades(w *written) error {
	if n := len(w.Grades); n > MaxGrades {
		return r.fault(part("grade", MaxGrades), "", "many", "what", "grades", "count", n, "most", MaxGrades)
	}
	for i, v := range w.Grades {
		if err := r.id(part("grade", i, "id"), v.ID, exampleGrade); err != nil {
			return err
		}
		for _, before := range r.file.Grades {
			if before.ID == v.ID {
				return r.fault(part("grade", i, "id"), exampleGrade, "twice", "name", reason.Name(v.ID))
			}
		}
		if v.From == nil {
			return r.fault(part("grade", i, "from"), exampleGrade, "missing", "key", "from")
		}
		least, most := 0, 0 // the first begins at nothing
		if i > 0 {
			least, most = r.file.Grades[i-1].From+1, MaxCareer
		}
		if _, err := r.number(part("grade", i, "from"), v.From, least, least, most); err != nil {
			return err
		}
		r.file.Grades = append(r.file.Grades, Grade{ID: v.ID, From: *v.From})
	}
	if len(r.file.Grades) == 0 {
		r.file.Grades = usualGrades
	}
	return nil
}

func (r *reader) experience(w *written) error {
	if w.Experience == nil {
		r.file.Experience = usualExperience
		return nil
	}
	e := Experience(*w.Experience)
	for _, v := range []struct {
		key   string
		value int
		least int
	}{{"fought", e.Fought, 0}, {"broke", e.Broke, 0}, {"won", e.Won, 0}, {"fell", e.Fell, -MaxRule}} {
		if _, err := r.number("experience/"+v.key, &v.value, 0, v.least, MaxRule); err != nil {
			return err
		}
	}
	r.file.Experience = e
	return nil
}
