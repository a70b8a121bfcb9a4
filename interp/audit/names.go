package audit

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"

	"platemark/interp/disk"
)

// LogName is the name of a print's log: the full file name, the first twelve
// characters of its mark.
func LogName(file, mark string) string {
	return file + "." + mark[:min(12, len(mark))] + ".audit.jsonl"
}

// NextLogName is LogName, numbered where earlier runs of the same print left
// their logs: an older log is never replaced.
func NextLogName(file, mark string) string {
	name := LogName(file, mark)
	for i := 2; ; i++ {
		if _, err := os.Lstat(name); err != nil {
			return name
		}
		name = strings.TrimSuffix(LogName(file, mark), ".audit.jsonl") + fmt.Sprintf("-%d.audit.jsonl", i)
	}
}

// LogsOf lists the logs beside a print file: of a mark, or of any mark where it
// is "", by name.
func LogsOf(out, mark string) []string {
	begin := out + "." + mark[:min(12, len(mark))]
	return slices.DeleteFunc(disk.Beside(begin, ".audit.jsonl"), func(log string) bool {
		return !logTail().MatchString(strings.TrimPrefix(log, out+"."))
	})
}

// Beside reads the logs that LogsOf lists, but for those that can't be read.
func Beside(out, mark string) (list []*Log) {
	for _, path := range LogsOf(out, mark) {
		if l, err := ReadLog(path); err == nil {
			list = append(list, l)
		}
	}
	return list
}

// logTail is what a log's name has behind its print file's: the mark's first
// characters, and a number where the print was built again.
var logTail = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^([0-9a-f]{12})(-[0-9]+)?\.audit\.jsonl$`) })

// NamedMark is the beginning of the mark in the name of a print file's log, ""
// where the name is another.
func NamedMark(log, file string) string {
	_, tail, _ := strings.Cut(strings.TrimPrefix(log, file), ".")
	if m := logTail().FindStringSubmatch(tail); m != nil {
		return m[1]
	}
	return ""
}

// BriefSum is the beginning of a digest or a mark, enough to tell it by.
func BriefSum(sum string) string { return sum[:min(16, len(sum))] }

// LaterBuild is the name of another log beside a print file that records the
// file as it is, "" where there is none.
func LaterBuild(log, file, sum string) string {
	for _, l := range Beside(file, "") {
		if name := filepath.Base(l.Path); name != filepath.Base(log) && l.File.SHA256 == sum {
			return name
		}
	}
	return ""
}
