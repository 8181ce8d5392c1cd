package html

import (
	"fmt"
	"html/template"
	"io"

	"rillturn.example/rillturn/api/render/words"
)

// An empty address is that of the page itself, which after a form is read anew.
var answer = template.Must(template.New("answer").Parse(head + `{{range .Sentences}}<p>{{.}}</p>
{{end}}{{if .Problems}}<ul>{{range .Problems}}<li><strong>{{.Field}}</strong> {{.Reason}}</li>
{{end}}</ul>
{{end}}{{with .Back}}<p><a href="">{{.}}</a></p>
{{end}}</body></html>
`))

// Problem is what is wrong with one field, by its pointer.
type Problem struct{ Field, Reason string }

type answerView struct {
	Language, Title, Back string
	Sentences             []string
	Problems              []Problem
}

// Recorded writes that a report was recorded.
func Recorded(w io.Writer, p words.Printer, r Report) error {
	return writeAnswer(w, answerView{
		Language: "en", Title: p.PageText(words.PageRecorded), Back: p.PageText(words.PageBack),
		Sentences: []string{reported(p, r), p.PageText(words.PageLast)},
	})
}

// Refusal writes why a request was refused. That of a form says that it can be corrected.
func Refusal(w io.Writer, p words.Printer, ofForm bool, detail string, problems []Problem) error {
	v := answerView{Language: "en", Title: p.PageText(words.PageRefused), Sentences: []string{detail}}
	for _, x := range problems {
		v.Problems = append(v.Problems, Problem{p.Field(x.Field), x.Reason})
	}
	if ofForm {
		v.Sentences, v.Back = append(v.Sentences, p.PageText(words.PageKept)), p.PageText(words.PageBack)
	}
	return writeAnswer(w, v)
}

func writeAnswer(w io.Writer, v answerView) error {
	if err := answer.Execute(w, v); err != nil {
		return fmt.Errorf("write the page of an answer: %w", err)
	}
	return nil
}
