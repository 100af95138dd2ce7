package page

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"

	"shimwright/bot/draw"
	"shimwright/dialog"
)

//go:embed report/report.css
var reportStyle string

//go:embed report/report.html
var reportPage string

// ReportPolicy is the content security policy of a report page: its own style
// by its hash, and nothing else. No script, no other site, no frame, no form.
func ReportPolicy() string {
	hash := sha256.Sum256([]byte(reportStyle))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(hash[:]) + "'; base-uri 'none'; form-action 'none'"
}

// Report returns the page of a report: one file of HTML with its style and its
// charts in it, which loads nothing.
func Report(r dialog.Report) ([]byte, error) {
	data := struct {
		dialog.Report
		Policy string
		Style  template.CSS
		Charts []template.HTML
	}{Report: r, Policy: ReportPolicy(), Style: template.CSS(reportStyle)}
	for i, d := range r.Charts {
		svg, err := draw.Inline(d, fmt.Sprintf("chart%d", i+1))
		if err != nil {
			return nil, err
		}
		data.Charts = append(data.Charts, template.HTML(svg)) // drawn by ourselves, its texts escaped
	}
	t, err := template.New("report").Parse(reportPage)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := t.Execute(&b, data); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
