package chatscript

import "strings"

// Shown is a post as people see it: what an adapter gives to be compared.
type Shown struct {
	Place    string // "#fen" or "@dm"
	Only     string
	Edit     bool
	Lines    []string // who is notified stands in them as @name where the line has that person
	Choices  []string // labels, in order of their numbers
	Notify   []string // names of those notified who stand in no line
	Pictures []string // alt texts
	Files    []string // names
}

// Post writes a post in the form of a script: its lines; then, in one line, who
// is notified besides and the choices; then pictures and files.
func (s Shown) Post() Post {
	p := Post{Place: s.Place, Only: s.Only, Edit: s.Edit}
	for _, line := range s.Lines {
		p.Lines = append(p.Lines, strings.TrimRight(line, " "))
	}
	var row []string
	for _, name := range s.Notify {
		row = append(row, "@"+name)
	}
	for _, label := range s.Choices {
		row = append(row, "["+label+"]")
	}
	if row != nil {
		p.Lines = append(p.Lines, strings.Join(row, " "))
	}
	for _, alt := range s.Pictures {
		p.Lines = append(p.Lines, "(picture: "+alt+")")
	}
	for _, name := range s.Files {
		p.Lines = append(p.Lines, "(file "+name+")")
	}
	return p
}

// Source is a post as it stands in a script.
func (p Post) Source() []string {
	head := "> " + p.Place
	if p.Only != "" {
		head += " only " + p.Only
	}
	if p.Edit {
		head += " edit"
	}
	out := []string{head}
	for _, line := range p.Lines {
		out = append(out, strings.TrimRight("| "+line, " "))
	}
	return out
}
