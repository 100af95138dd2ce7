package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"shimwright/dialog"
)

// Columns of the CSV (RFC 4180). Lengths are mm, angles rad, times RFC 3339; an
// empty cell is a value that is not known. The readings are a JSON array in one
// cell. The last two are for people: what comes in is known by its ids.
func recordColumns() []string {
	return []string{"id", "saw", "procedure", "characteristic", "at", "person", "unit",
		"found", "found_uncertainty", "found_at", "left", "left_uncertainty", "left_at",
		"low", "high", "decision", "adjusted", "tool", "resolution", "blade", "remarks", "corrects", "readings",
		"saw_name", "person_name"}
}

// recordsCSV writes records as RFC 4180 has it: a header, lines that end in
// CRLF, quotes where they are needed.
func recordsCSV(records []dialog.Record, saws, people map[string]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	_ = w.Write(recordColumns()) // a buffer takes everything
	for _, r := range records {
		row := []string{r.ID, r.Saw, r.Procedure, r.Characteristic, timeCell(r.At), r.Person, r.Unit}
		row = append(row, measuredCells(r.AsFound)...)
		row = append(row, measuredCells(r.AsLeft)...)
		row = append(row, optional(r.Low), optional(r.High), r.Decision, strconv.FormatBool(r.Adjusted),
			r.Tool, optional(&r.Resolution), r.Blade, r.Remarks, r.Corrects, readingsCell(r.Readings), saws[r.Saw], people[r.Person])
		_ = w.Write(row)
	}
	w.Flush()
	return b.Bytes()
}

func timeCell(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

func measuredCells(m *dialog.Measured) []string {
	if m == nil {
		return []string{"", "", ""}
	}
	return []string{optional(&m.Value), optional(&m.Uncertainty), timeCell(m.At)}
}

func optional(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}

func readingsCell(list []dialog.RecordReading) string {
	if len(list) == 0 {
		return ""
	}
	return string(encode(list))
}

// parseRecordsCSV reads what recordsCSV writes, its columns in any order, those
// that are not its own left out. Its errors name the line. names are the saws'
// names in the file, where it has them.
func parseRecordsCSV(in io.Reader) (records []dialog.Record, names map[string]string, err error) {
	r := csv.NewReader(in)
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil {
		return nil, nil, csvFault(err)
	}
	columns := map[string]int{}
	for i, name := range head {
		if name = strings.TrimPrefix(name, "\ufeff"); slices.Contains(recordColumns(), name) {
			columns[name] = i
		}
	}
	for _, name := range recordColumns()[:len(recordColumns())-2] {
		if _, ok := columns[name]; !ok {
			return nil, nil, fmt.Errorf("the column %q is missing; the first line names the columns as export writes them", name)
		}
	}
	names = map[string]string{}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return records, names, nil
		}
		if err != nil {
			return nil, nil, csvFault(err)
		}
		line, _ := r.FieldPos(0)
		c := cells{columns: columns, row: row}
		rec := c.record()
		if c.err != nil {
			return nil, nil, fmt.Errorf("line %d: %w", line, c.err)
		}
		records = append(records, rec)
		if i, ok := columns["saw_name"]; ok && row[i] != "" {
			names[rec.Saw] = row[i]
		}
	}
}

func csvFault(err error) error {
	var p *csv.ParseError
	switch {
	case errors.As(err, &p):
		return fmt.Errorf("line %d: %v; cells are parted by commas and quoted as RFC 4180 has it", p.Line, p.Err)
	case errors.Is(err, io.EOF):
		return errors.New("the file is empty")
	}
	return err
}

// cells reads the cells of one row; the first fault stays.
type cells struct {
	columns map[string]int
	row     []string
	err     error
}

func (c *cells) text(name string) string { return strings.Clone(c.row[c.columns[name]]) }

func (c *cells) fault(name, want string) {
	if c.err == nil {
		c.err = fmt.Errorf("the column %q holds %q; it wants %s", name, clip(c.text(name)), want)
	}
}

func (c *cells) number(name string) *float64 {
	text := c.text(name)
	if text == "" {
		return nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		c.fault(name, "a number such as -0.19, with a point")
	}
	return &v
}

func (c *cells) time(name string) time.Time {
	t, err := time.Parse(time.RFC3339Nano, c.text(name))
	if err != nil {
		c.fault(name, "a time such as 2026-03-02T09:14:05Z")
	}
	return t.UTC()
}

func (c *cells) measured(name string) *dialog.Measured {
	value, u := c.number(name), c.number(name+"_uncertainty")
	if value == nil {
		return nil
	}
	m := dialog.Measured{Value: *value, At: c.time(name + "_at")}
	if u == nil {
		c.fault(name+"_uncertainty", "a number, 0 where nothing is known")
		return nil
	}
	m.Uncertainty = *u
	return &m
}

func (c *cells) record() dialog.Record {
	r := dialog.Record{ID: c.text("id"), Saw: c.text("saw"), Procedure: c.text("procedure"), Characteristic: c.text("characteristic"),
		At: c.time("at"), Person: c.text("person"), Unit: c.text("unit"), AsFound: c.measured("found"), AsLeft: c.measured("left"),
		Low: c.number("low"), High: c.number("high"), Decision: c.text("decision"), Tool: c.text("tool"), Blade: c.text("blade"),
		Remarks: c.text("remarks"), Corrects: c.text("corrects")}
	if v := c.number("resolution"); v != nil {
		r.Resolution = *v
	}
	switch c.text("adjusted") {
	case "true":
		r.Adjusted = true
	case "false", "":
	default:
		c.fault("adjusted", "true or false")
	}
	if text := c.text("readings"); text != "" {
		if err := json.Unmarshal([]byte(text), &r.Readings); err != nil {
			c.fault("readings", "a JSON array as export writes it")
		}
	}
	return r
}
