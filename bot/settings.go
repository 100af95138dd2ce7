package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
)

// settingInfo is what a person needs to know of a setting.
type settingInfo struct{ Name, Default, Meaning string }

// describe lists the settings, in the order of their fields.
func describe(s *settings) []settingInfo {
	t := reflect.TypeOf(*s)
	list := make([]settingInfo, 0, t.NumField())
	for i := range t.NumField() {
		f := t.Field(i)
		list = append(list, settingInfo{
			Name:    prefix + "_" + variable(f.Name),
			Default: f.Tag.Get("default"),
			Meaning: f.Tag.Get("desc"),
		})
	}
	return list
}

// trim takes the spaces off every value.
func (s *settings) trim() {
	v := reflect.ValueOf(s).Elem()
	for i := range v.NumField() {
		v.Field(i).SetString(strings.TrimSpace(v.Field(i).String()))
	}
}

// variable is the name that split_words makes of a field's.
func variable(field string) string {
	parts := regexp.MustCompile(`[A-Z]+[^A-Z]*`).FindAllString(field, -1)
	for i, p := range parts {
		// PublicURL gives PUBLIC and URL, URLs of one word stay together.
		parts[i] = strings.ToUpper(p)
	}
	return strings.Join(parts, "_")
}

// printConfig writes every setting with its default and meaning, and whether
// the environment sets it. It shows no value: some are secret.
func printConfig(w io.Writer) error {
	fmt.Fprintln(w, "Settings are read from the environment. None is needed.")
	for _, i := range describe(&settings{}) {
		d := i.Default
		if i.Name == prefix+"_DATA" {
			d, _ = userData()
		}
		if d == "" {
			d = "not set"
		}
		mark := ""
		if _, ok := os.LookupEnv(i.Name); ok {
			mark = "; set here"
		}
		fmt.Fprintf(w, "\n%s  (default: %s%s)\n    %s\n", i.Name, d, mark, i.Meaning)
	}
	return nil
}

// userData returns the folder for data of this user.
func userData() (string, error) {
	const name = "shimwright"
	home, err := os.UserHomeDir()
	switch {
	case runtime.GOOS == "windows":
		if d := os.Getenv("LocalAppData"); d != "" {
			return filepath.Join(d, name), nil
		}
		return "", errors.New("%LocalAppData% is not set")
	case runtime.GOOS != "darwin" && filepath.IsAbs(os.Getenv("XDG_DATA_HOME")):
		return filepath.Join(os.Getenv("XDG_DATA_HOME"), name), nil
	case err != nil:
		return "", err
	case runtime.GOOS == "darwin":
		return filepath.Join(home, "Library", "Application Support", name), nil
	}
	return filepath.Join(home, ".local", "share", name), nil
}

// nearest returns the name that differs from s by the fewest letters, at most
// three, or "".
func nearest(s string, names []string) string {
	best, least := "", 4
	for _, n := range names {
		if d := distance(s, n); d < least {
			best, least = n, d
		}
	}
	return best
}

// distance is the Levenshtein distance of two names.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// some is a number of things, for the operator: 1 shop, 2 people, 0 records.
func some(n int, thing string) string {
	switch {
	case n == 1:
	case thing == "person":
		thing = "people"
	case strings.HasSuffix(thing, "y") && thing != "day":
		thing = strings.TrimSuffix(thing, "y") + "ies"
	default:
		thing += "s"
	}
	return strconv.Itoa(n) + " " + thing
}

// machineZone is the name of this machine's time zone, as far as it can be
// told: from TZ, or from where /etc/localtime leads. A machine on universal time
// (a container, as a rule) says nothing about where people are.
func machineZone() string {
	name := strings.TrimPrefix(os.Getenv("TZ"), ":")
	if link, err := os.Readlink("/etc/localtime"); name == "" && err == nil {
		_, name, _ = strings.Cut(link, "zoneinfo/")
	}
	if _, err := time.LoadLocation(name); name == "" || err != nil || universal(name) {
		return ""
	}
	return name
}

// universal reports whether a zone of the tz database is no place: universal
// time by any of its names, or an offset from it.
func universal(zone string) bool {
	_, link, _ := strings.Cut(zone, "Etc/")
	return link != "" || slices.Contains([]string{"UTC", "UCT", "GMT", "GMT0", "GMT+0", "GMT-0", "Greenwich", "Universal", "Zulu"}, zone)
}
