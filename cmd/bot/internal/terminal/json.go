package terminal

import (
	"encoding/json"
	"strings"

	"drumhead/commands/chat"
)

// object is one post as JSON. docs/json.md and docs/play.schema.json describe
// it; all members are always present.
type object struct {
	Post     chat.PostID     `json:"post"`
	Place    string          `json:"place"`
	Only     string          `json:"only"`
	Edit     chat.PostID     `json:"edit"`
	Text     string          `json:"text"`
	Choices  []choiceObject  `json:"choices"`
	Pictures []pictureObject `json:"pictures"`
	Files    []fileObject    `json:"files"`
	Notify   []string        `json:"notify"`
	Entry    int64           `json:"entry"`
	Error    string          `json:"error"`
	Law      []float64       `json:"law,omitempty"`
}

type choiceObject struct {
	Number  int      `json:"number"`
	Label   string   `json:"label"`
	Command string   `json:"command"`
	Once    bool     `json:"once"`
	Who     []string `json:"who"`
}

type pictureObject struct {
	Path string `json:"path"`
	Alt  string `json:"alt"`
}

type fileObject struct {
	Path string `json:"path"`
	Name string `json:"name"`
}

func (t *Terminal) writeJSON(p chat.Post, m made) error {
	o := object{
		Post: p.ID, Place: placeName(p.To), Only: onlyName(p.To), Edit: p.Edit, Entry: p.Entry, Error: p.Error, Law: p.Law,
		Choices: []choiceObject{}, Pictures: []pictureObject{}, Files: []fileObject{}, Notify: people(p.Notify),
	}
	var lines []string
	for _, line := range p.Lines {
		lines = append(lines, t.text(p, line))
	}
	o.Text = strings.Join(lines, "\n")
	for _, c := range p.Choices {
		o.Choices = append(o.Choices, choiceObject{c.Number, harmless(c.Label), c.Command, c.Once, people(c.Who)})
	}
	for _, f := range m.pictures {
		o.Pictures = append(o.Pictures, pictureObject{f.path, f.alt})
	}
	for _, f := range m.files {
		o.Files = append(o.Files, fileObject{f.path, f.name})
	}
	enc := json.NewEncoder(t.out)
	enc.SetEscapeHTML(false)
	return enc.Encode(o)
}

func people(list []chat.Person) []string {
	out := make([]string, 0, len(list))
	for _, p := range list {
		out = append(out, personName(p))
	}
	return out
}
