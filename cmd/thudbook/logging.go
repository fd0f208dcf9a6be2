package main

import (
	"io"
	"log/slog"

	lumberjack "gopkg.in/natefinch/lumberjack.v2"
)

// logging says where the log goes.
type logging struct {
	LogLevel string `help:"What goes to the log: debug, info, warn, error." default:"info" enum:"debug,info,warn,error"`
	LogFile  string `help:"File for the log, beside what goes to standard error. It is turned over by size." type:"path" placeholder:"FILE"`
	LogMaxMB int    `help:"Size of the log file, in MB, at which it is turned over." default:"10" name:"log-max-mb"`
	LogKeep  int    `help:"Number of turned-over log files that are kept." default:"5"`
}

// open gives the log and what closes it.
func (l *logging) open(errOut io.Writer) (*slog.Logger, func() error, error) {
	var level slog.Level
	if err := level.UnmarshalText([]byte(l.LogLevel)); err != nil {
		return nil, nil, err
	}
	out, done := errOut, func() error { return nil }
	if l.LogFile != "" {
		f := &lumberjack.Logger{Filename: l.LogFile, MaxSize: max(l.LogMaxMB, 1), MaxBackups: max(l.LogKeep, 1)}
		out, done = &both{errOut, f}, f.Close
	}
	return slog.New(slog.NewTextHandler(out, &slog.HandlerOptions{Level: level})), done, nil
}

// both writes to the file even where standard error leads nowhere, as under a
// service manager, and to standard error even where the disk is full.
type both struct{ console, file io.Writer }

func (b *both) Write(p []byte) (int, error) {
	n1, err1 := b.console.Write(p)
	n2, err2 := b.file.Write(p)
	if err1 != nil && err2 != nil {
		return 0, err2
	}
	return max(n1, n2), nil
}
