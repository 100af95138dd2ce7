// Package deploy holds what runs the service for real. Its tests check the
// files with the tools that will read them, as far as those need no daemon.
package deploy

import (
	"bufio"
	"compress/gzip"
	"debug/elf"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"

	"github.com/compose-spec/compose-go/v2/loader"
	"github.com/compose-spec/compose-go/v2/types"
	appsv1 "k8s.io/api/apps/v1"
	corev1 "k8s.io/api/core/v1"
	networkingv1 "k8s.io/api/networking/v1"
	policyv1 "k8s.io/api/policy/v1"
	"sigs.k8s.io/yaml"

	"shimwright/bot/testenv"
)

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(testenv.Program(t, name), args...).CombinedOutput()
	if err != nil {
		t.Errorf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

// TestAlerts: the rules parse, and each fires on what it is for and only then.
func TestAlerts(t *testing.T) {
	run(t, "promtool", "check", "rules", "prometheus/alerts.yaml")
	run(t, "promtool", "check", "config", "prometheus/prometheus.yaml")
	run(t, "promtool", "test", "rules", "prometheus/alerts_test.yaml")
	var rules struct {
		Groups []struct {
			Rules []struct {
				Alert       string
				Annotations map[string]string
			}
		}
	}
	if err := yaml.Unmarshal([]byte(read(t, "prometheus/alerts.yaml")), &rules); err != nil {
		t.Fatal(err)
	}
	tests := read(t, "prometheus/alerts_test.yaml")
	for _, g := range rules.Groups {
		for _, r := range g.Rules {
			if r.Annotations["summary"] == "" || r.Annotations["do"] == "" {
				t.Errorf("%s does not say what to do", r.Alert)
			}
			if !strings.Contains(tests, "alertname: "+r.Alert) {
				t.Errorf("%s is not tested", r.Alert)
			}
		}
	}
}

// dockerBuild is the very command with which the image is built.
func dockerBuild(t *testing.T) []string {
	t.Helper()
	for _, line := range strings.Split(read(t, "../Dockerfile"), "\n") {
		if line, ok := strings.CutPrefix(line, "RUN CGO_ENABLED=0 "); ok {
			line = strings.TrimSuffix(line, " \\")
			line = strings.ReplaceAll(line, `"`, "")
			line = strings.ReplaceAll(line, "-ldflags=-s -w", "-ldflags=-s\x00-w")
			fields := strings.Fields(line)
			for i := range fields {
				fields[i] = strings.ReplaceAll(fields[i], "\x00", " ")
			}
			return fields
		}
	}
	t.Fatal("the Dockerfile has no build line")
	return nil
}

// build builds the program as the image has it.
func build(t *testing.T) string {
	t.Helper()
	_, err := exec.LookPath("go")
	testenv.Need(t, "the go command", err == nil)
	args := dockerBuild(t)
	out := filepath.Join(t.TempDir(), "shimwright")
	for i, a := range args {
		if a == "/out/shimwright" {
			args[i] = out
		}
	}
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Dir = ".."
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if b, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %v\n%s", args, err, b)
	}
	return out
}

// mostImage is what the compressed image may have, in bytes. It holds the
// program and the certificates (about 0.2 MB) and nothing else.
const mostImage = 20 << 20

// TestImage builds the program with the image's own line: static, small, and
// what its health check calls is there.
func TestImage(t *testing.T) {
	testenv.Long(t)
	bin := build(t)
	if runtime.GOOS == "linux" {
		f, err := elf.Open(bin)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if libs, _ := f.ImportedLibraries(); len(libs) > 0 {
			t.Errorf("it needs %v", libs)
		}
		for _, p := range f.Progs {
			if p.Type == elf.PT_INTERP {
				t.Error("it needs a dynamic loader")
			}
		}
	}
	in, err := os.Open(bin)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	var size counter
	z := gzip.NewWriter(&size)
	if _, err := io.Copy(z, in); err != nil || z.Close() != nil {
		t.Fatal(err)
	}
	t.Logf("compressed: %.1f MB", float64(size)/(1<<20))
	if size > mostImage-300<<10 {
		t.Errorf("%d bytes compressed, wanted at most %d", size, mostImage)
	}
	out, err := exec.Command(bin, "help").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "  health ") {
		t.Errorf("the health check's command: %v\n%s", err, out)
	}
	metricsExist(t, bin)
}

type counter int

func (c *counter) Write(p []byte) (int, error) { *c += counter(len(p)); return len(p), nil }

var metricName = regexp.MustCompile(`\b(?:shimwright|process|go)_[a-z_]+`)

// metricsExist: every figure that the dashboard and the alerts name is one
// that the running program publishes.
func metricsExist(t *testing.T, bin string) {
	t.Helper()
	cmd := exec.Command(bin, "serve")
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, "SHIMWRIGHT_") {
			cmd.Env = append(cmd.Env, v)
		}
	}
	cmd.Env = append(cmd.Env, "SHIMWRIGHT_LISTEN=127.0.0.1:0", "SHIMWRIGHT_DATA="+t.TempDir())
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = cmd.Process.Kill(); _ = cmd.Wait() }()
	line, err := bufio.NewReader(out).ReadString('\n')
	_, url, ok := strings.Cut(strings.TrimSpace(line), "answers on ")
	if err != nil || !ok {
		t.Fatalf("it says %q, %v", line, err)
	}
	post, err := http.Post(url+"/v1/messages", "application/json", strings.NewReader(`{"id":"m-1","conversation":"c","text":"menu"}`))
	if err != nil {
		t.Fatal(err)
	}
	post.Body.Close()
	res, err := http.Get(url + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{}
	for _, name := range metricName.FindAllString(string(body), -1) {
		known[name] = true
	}
	for _, file := range []string{"dashboard.json", "prometheus/alerts.yaml"} {
		names := metricName.FindAllString(read(t, file), -1)
		if len(names) < 5 {
			t.Errorf("%s names only %v", file, names)
		}
		for _, name := range names {
			if !known[name] {
				t.Errorf("%s names %s, which is not published", file, name)
			}
		}
	}
}

// TestDashboard: it is JSON, and each panel asks something.
func TestDashboard(t *testing.T) {
	var d struct {
		Title  string
		Panels []struct {
			ID      int
			Title   string
			Targets []struct{ Expr string }
		}
	}
	if err := json.Unmarshal([]byte(read(t, "dashboard.json")), &d); err != nil {
		t.Fatal(err)
	}
	seen := map[int]bool{}
	rules := "groups:\n- name: dashboard\n  rules:\n"
	for _, p := range d.Panels {
		if seen[p.ID] || p.Title == "" || len(p.Targets) == 0 {
			t.Errorf("panel %d: twice, or without a title or a question", p.ID)
		}
		seen[p.ID] = true
		for i, q := range p.Targets {
			expr, _ := json.Marshal(q.Expr)
			rules += fmt.Sprintf("  - {record: \"panel:%d:%d\", expr: %s}\n", p.ID, i, expr)
		}
	}
	// As rules, its expressions can be checked by the program that will run them.
	file := filepath.Join(t.TempDir(), "rules.yaml")
	if err := os.WriteFile(file, []byte(rules), 0o600); err != nil {
		t.Fatal(err)
	}
	run(t, "promtool", "check", "rules", file)
}

// TestKubernetes decodes every manifest strictly into the types of its API,
// and looks at what must hold between them.
func TestKubernetes(t *testing.T) {
	kinds := map[string]any{"Namespace": &corev1.Namespace{}, "Deployment": &appsv1.Deployment{}, "Service": &corev1.Service{},
		"PodDisruptionBudget": &policyv1.PodDisruptionBudget{}, "NetworkPolicy": &networkingv1.NetworkPolicy{}}
	found := map[string]bool{}
	for _, doc := range strings.Split(read(t, "kubernetes/shimwright.yaml"), "\n---\n") {
		var head struct{ APIVersion, Kind string }
		if err := yaml.Unmarshal([]byte(doc), &head); err != nil {
			t.Fatal(err)
		}
		into, ok := kinds[head.Kind]
		if !ok {
			t.Fatalf("a document of the kind %q", head.Kind)
		}
		found[head.Kind] = true
		if err := yaml.UnmarshalStrict([]byte(doc), into); err != nil {
			t.Errorf("%s: %v", head.Kind, err)
		}
	}
	if len(found) != len(kinds) {
		t.Errorf("only %v", found)
	}
	d := kinds["Deployment"].(*appsv1.Deployment)
	pod := d.Spec.Template
	labels := pod.Labels
	for name, selector := range map[string]map[string]string{
		"deployment": d.Spec.Selector.MatchLabels, "service": kinds["Service"].(*corev1.Service).Spec.Selector,
		"budget": kinds["PodDisruptionBudget"].(*policyv1.PodDisruptionBudget).Spec.Selector.MatchLabels,
		"policy": kinds["NetworkPolicy"].(*networkingv1.NetworkPolicy).Spec.PodSelector.MatchLabels,
	} {
		for k, v := range selector {
			if labels[k] != v {
				t.Errorf("the %s selects %s=%s, which the pods do not have", name, k, v)
			}
		}
	}
	c := pod.Spec.Containers[0]
	s := c.SecurityContext
	if *d.Spec.Replicas < 2 || *s.AllowPrivilegeEscalation || !*s.ReadOnlyRootFilesystem || !*pod.Spec.SecurityContext.RunAsNonRoot ||
		len(s.Capabilities.Drop) != 1 || s.Capabilities.Drop[0] != "ALL" {
		t.Error("fewer than two replicas, or more rights than it needs")
	}
	if c.LivenessProbe.HTTPGet.Path != "/healthz" || c.ReadinessProbe.HTTPGet.Path != "/readyz" || c.StartupProbe == nil || c.Resources.Limits.Memory().IsZero() {
		t.Error("a probe or the memory limit is missing")
	}
	const shutdown = 15 // seconds, the default of SHIMWRIGHT_SHUTDOWN
	if *pod.Spec.TerminationGracePeriodSeconds <= c.Lifecycle.PreStop.Sleep.Seconds+shutdown {
		t.Error("a stop is cut short")
	}
	settings := map[string]bool{}
	for _, e := range c.Env {
		settings[e.Name] = true
		if strings.Contains(e.Name, "SECRET") || e.Name == "SHIMWRIGHT_REDIS_URL" {
			if e.ValueFrom == nil || e.ValueFrom.SecretKeyRef == nil {
				t.Errorf("%s stands in the manifest", e.Name)
			}
		}
	}
	settingsExist(t, "kubernetes/shimwright.yaml")
}

// settingsExist: every setting that a file names is one.
func settingsExist(t *testing.T, file string) {
	t.Helper()
	source := read(t, "../bot/config.go")
	for _, name := range regexp.MustCompile(`SHIMWRIGHT_[A-Z_]+`).FindAllString(read(t, file), -1) {
		field := ""
		for _, part := range strings.Split(strings.TrimPrefix(name, "SHIMWRIGHT_"), "_") {
			if part == "URL" {
				field += part
			} else {
				field += part[:1] + strings.ToLower(part[1:])
			}
		}
		if !regexp.MustCompile(`(?m)^\t` + field + ` +string `).MatchString(source) {
			t.Errorf("%s names %s, which is no setting", file, name)
		}
	}
}

// TestCompose loads the file with the specification's own library, which checks
// it against its schema, and looks at what it asks for.
func TestCompose(t *testing.T) {
	project, err := loader.LoadWithContext(t.Context(), types.ConfigDetails{WorkingDir: ".",
		ConfigFiles: []types.ConfigFile{{Filename: "compose.yaml", Content: []byte(read(t, "compose.yaml"))}}, Environment: types.Mapping{}})
	if err != nil {
		t.Fatal(err)
	}
	s, err := project.GetService("shimwright")
	if err != nil {
		t.Fatal(err)
	}
	if !s.ReadOnly || len(s.CapDrop) != 1 || s.Ports[0].HostIP != "127.0.0.1" || s.MemLimit == 0 {
		t.Errorf("read only %v, dropped %v, ports %v", s.ReadOnly, s.CapDrop, s.Ports)
	}
	for name, s := range project.Services {
		for _, v := range s.Volumes {
			if v.Type == types.VolumeTypeBind {
				if _, err := os.Stat(v.Source); err != nil {
					t.Errorf("%s mounts %s: %v", name, v.Source, err)
				}
			}
		}
	}
	settingsExist(t, "compose.yaml")
}

// TestRedisSettings: a real server takes them, and they are those that lose
// nothing.
func TestRedisSettings(t *testing.T) {
	program := testenv.Program(t, "redis-server")
	cmd := exec.Command(program, mustAbs(t, "redis/redis.conf"), "--port", "0", "--unixsocket", filepath.Join(t.TempDir(), "s"), "--dir", t.TempDir(), "--daemonize", "no")
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = cmd.Process.Kill(); _ = cmd.Wait() }()
	for lines := bufio.NewScanner(out); ; {
		if !lines.Scan() {
			t.Fatal("it does not start with these settings")
		}
		if strings.Contains(lines.Text(), "eady to accept connections") {
			break
		}
	}
	for _, want := range []string{"appendonly yes", "appendfsync always", "maxmemory-policy noeviction"} {
		if !strings.Contains(read(t, "redis/redis.conf"), "\n"+want+"\n") {
			t.Errorf("it lacks %s", want)
		}
	}
}

func mustAbs(t *testing.T, path string) string {
	t.Helper()
	abs, err := filepath.Abs(path)
	if err != nil {
		t.Fatal(err)
	}
	return abs
}

// TestUnit lets systemd judge the unit: at most 2.0 of 10 points of exposure
// (systemd-analyze security), and no word that it does not know.
func TestUnit(t *testing.T) {
	program := testenv.Program(t, "systemd-analyze")
	unit := mustAbs(t, "systemd/shimwright.service")
	out, err := exec.Command(program, "security", "--offline=true", "--no-pager", "--threshold=20", unit).CombinedOutput()
	if err != nil {
		t.Errorf("%v\n%s", err, out)
	}
	if m := regexp.MustCompile(`Overall exposure level.*`).Find(out); m != nil {
		t.Logf("%s", m)
	}
	// It is checked with a program that exists in place of one not installed.
	there := filepath.Join(t.TempDir(), "shimwright.service")
	text := strings.Replace(read(t, unit), "ExecStart=/usr/local/bin/shimwright", "ExecStart=/bin/true", 1)
	if err := os.WriteFile(there, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err = exec.Command(program, "verify", "--man=no", there).CombinedOutput()
	if err != nil || strings.Contains(string(out), "shimwright.service:") {
		t.Errorf("%v\n%s", err, out)
	}
	settingsExist(t, "systemd/shimwright.service")
}
