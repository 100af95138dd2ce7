package main

import (
	"maps"
	"slices"
	"strings"
	"testing"
)

func TestNetworkSettings(t *testing.T) {
	text := map[string]string{"SMS_GATEWAY": "http://127.0.0.1:13013/cgi-bin/sendsms", "SMS_USER": "shop", "SMS_PASSWORD": "canary-password",
		"SMS_SECRET": "canary-secret-0123", "SMS_PEOPLE": "+491700000001, +12125550123"}
	matrix := map[string]string{"MATRIX_HOMESERVER": "http://127.0.0.1:8008", "MATRIX_USER": "@shimwright:shop.example",
		"MATRIX_AS_TOKEN": "canary-as-token-0123", "MATRIX_HS_TOKEN": "canary-hs-token-0123", "MATRIX_PEOPLE": "@kim:shop.example friends.example"}
	with := func(base map[string]string, name, value string) map[string]string {
		m := maps.Clone(base)
		if m[name] = value; value == "" {
			delete(m, name)
		}
		return m
	}
	for _, c := range []struct {
		name string
		env  map[string]string
		want string // in the error; "" where there is none
	}{
		{"texts", text, ""},
		{"Matrix", matrix, ""},
		{"without the gateway", with(text, "SMS_GATEWAY", ""), "SHIMWRIGHT_SMS_GATEWAY is not set, but other settings of text messages are"},
		{"a gateway without its address", with(text, "SMS_GATEWAY", "127.0.0.1:13013"), "must be that of its sendsms service"},
		{"no user", with(text, "SMS_USER", ""), "user and password for sendsms are missing"},
		{"a short secret", with(text, "SMS_SECRET", "short"), "at least 16 characters"},
		{"a number without its country", with(text, "SMS_PEOPLE", "01700000001"), "SHIMWRIGHT_SMS_PEOPLE holds \"***01\"; give numbers with their country code"},
		{"a name for a number", with(text, "SMS_PEOPLE", "kim"), "SHIMWRIGHT_SMS_PEOPLE holds \"kim\""},
		{"no country of this name", with(text, "SMS_REGION", "Germany"), "not a country code of two letters"},
		{"too many parts", with(text, "SMS_PARTS", "300"), "SHIMWRIGHT_SMS_PARTS"},
		{"without the homeserver", with(matrix, "MATRIX_HOMESERVER", ""), "SHIMWRIGHT_MATRIX_HOMESERVER is not set, but other settings of Matrix are"},
		{"half a user", with(matrix, "MATRIX_USER", "shimwright"), "our name on Matrix must be a whole one"},
		{"one token", with(matrix, "MATRIX_HS_TOKEN", ""), "two tokens of the registration file"},
		{"everybody", with(matrix, "MATRIX_PEOPLE", "*"), "SHIMWRIGHT_MATRIX_PEOPLE holds \"*\""},
	} {
		t.Run(c.name, func(t *testing.T) {
			cleanEnv(t)
			for name, value := range c.env {
				t.Setenv(prefix+"_"+name, value)
			}
			cfg, err := LoadConfig()
			if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
				t.Errorf("got %v, want %q", err, c.want)
			}
			if err != nil && strings.Contains(err.Error(), "canary") {
				t.Errorf("the error holds a secret: %v", err)
			}
			if c.name == "texts" && (cfg.SMS.Own != "http://127.0.0.1:8080/v1/channels/sms" || cfg.SMS.Parts != 6 ||
				!slices.Equal(cfg.SMS.People, []string{"+491700000001", "+12125550123"})) {
				t.Errorf("got %+v", cfg.SMS)
			}
			if c.name == "Matrix" && !slices.Equal(cfg.Matrix.People, []string{"@kim:shop.example", "friends.example"}) {
				t.Errorf("got %+v", cfg.Matrix)
			}
		})
	}
	cleanEnv(t)
	t.Setenv("SHIMWRIGHT_SMS_REGION", "de")
	for name, value := range with(text, "SMS_PEOPLE", "01700000001") {
		t.Setenv(prefix+"_"+name, value)
	}
	if cfg, err := LoadConfig(); err != nil || !slices.Equal(cfg.SMS.People, []string{"+491700000001"}) {
		t.Errorf("a number of the region: %+v, %v", cfg.SMS.People, err)
	}
}
