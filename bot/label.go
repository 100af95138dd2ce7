package main

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"

	"shimwright/bot/draw"
	"shimwright/dialog"
)

// labelCommand writes the label of a saw: a QR code that opens the conversation
// about it.
func labelCommand(ctx context.Context, c console, args []string) (err error) {
	flags := commandFlags(c, "label")
	saw := flags.String("saw", "", "the saw, by its name; not needed where there is one only")
	shop := flags.String("shop", homeShop, "the shop")
	to := flags.String("to", "page", "what the code opens: page, sms or matrix")
	if err := flags.Parse(args); err != nil {
		return err
	}
	path := flags.Arg(0)
	kind := strings.ToLower(filepath.Ext(path))
	if flags.NArg() != 1 || kind != ".png" && kind != ".svg" {
		return errors.New("say where the label goes, e.g. label old-blue.png or label old-blue.svg")
	}
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	a, err := openArchive(ctx, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.close()) }()
	copied, err := a.export(ctx, exportQuery{Shop: *shop, Saw: *saw, One: true})
	if err != nil {
		return err
	}
	l := draw.Label{Name: copied.Saws[0].Profile.Name}
	if l.Address, err = labelAddress(cfg, *to, l.Name); err != nil {
		return err
	}
	l.Scan, l.Caution = dialog.LabelWords(ownerLanguage(copied.People))
	render := draw.LabelPNG
	if kind == ".svg" {
		render = draw.LabelSVG
	}
	body, err := render(l)
	if err != nil {
		return err
	}
	if err := writeOut(c, path, body); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%s opens %s\n", path, l.Address)
	if *to == "page" && cfg.PublicURL == nil && cfg.Loopback() {
		fmt.Fprintln(c.out, "That address works on this machine only. Set SHIMWRIGHT_PUBLIC_URL, or SHIMWRIGHT_LISTEN for the workshop's network, before the label is printed.")
	}
	return nil
}

// labelAddress is what the QR code of a saw's label holds.
func labelAddress(cfg Config, to, saw string) (string, error) {
	switch {
	case to == "page" && knownBase(cfg) == "":
		return "", errors.New("the settings name no address of the page; set SHIMWRIGHT_PUBLIC_URL")
	case to == "page":
		return knownBase(cfg) + "/?saw=" + url.PathEscape(saw), nil
	case to == "sms" && cfg.SMS.From == "":
		return "", errors.New("the settings name no number that texts go to; set SHIMWRIGHT_SMS_FROM")
	case to == "sms": // RFC 5724
		return "sms:" + cfg.SMS.From + "?body=" + url.PathEscape(saw), nil
	case to == "matrix" && cfg.Matrix.User == "":
		return "", errors.New("the settings name no Matrix user; set SHIMWRIGHT_MATRIX_USER")
	case to == "matrix": // the matrix: URI of the Matrix specification, appendix 4.4.1
		return "matrix:u/" + strings.TrimPrefix(cfg.Matrix.User, "@") + "?action=chat", nil
	}
	return "", fmt.Errorf("a label cannot open %q; give page, sms or matrix", to)
}

// ownerLanguage is the language of a shop's first owner.
func ownerLanguage(people []dialog.Person) string {
	for _, p := range people {
		if p.Role == dialog.Owner && !p.Removed {
			return p.Lang
		}
	}
	return ""
}
