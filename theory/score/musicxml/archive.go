package musicxml

import (
	"archive/zip"
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
)

const (
	containerName = "META-INF/container.xml"
	scoreType     = "application/vnd.recordare.musicxml+xml"
)

// openArchive finds the score in a compressed file: the first root file that META-INF/container.xml names as a score ("The
// MusicXML root must be described in the first rootfile element", annotation of rootfiles in container.xsd). Names in the archive only serve to be
// looked up; nothing is written anywhere. An archive without a container is read if it holds a single score, with a warning.
func openArchive(data []byte) (root io.ReadCloser, warning string, err error) {
	if len(data) > MaxBytes {
		return nil, "", fmt.Errorf("an archive of more than %d MiB", MaxBytes>>20)
	}
	// Counted before archive/zip makes a record of each.
	if n := bytes.Count(data, []byte("PK\x01\x02")); n > MaxEntries {
		return nil, "", fmt.Errorf("an archive of %d files; at most %d are accepted", n, MaxEntries)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, "", fmt.Errorf("no readable archive: %w", err)
	}
	find := func(name string) *zip.File {
		for _, f := range z.File {
			if f.Name == name {
				return f
			}
		}
		return nil
	}
	var name string
	if f := find(containerName); f != nil {
		if name, err = rootName(f); err != nil {
			return nil, "", err
		}
	} else {
		for _, f := range z.File {
			lower := strings.ToLower(f.Name)
			if strings.HasPrefix(f.Name, "META-INF/") || !strings.HasSuffix(lower, ".xml") && !strings.HasSuffix(lower, ".musicxml") {
				continue
			}
			if name != "" {
				return nil, "", fmt.Errorf("the archive has no %s, and more than one file that could be the score", containerName)
			}
			name = f.Name
		}
		if name == "" {
			return nil, "", fmt.Errorf("the archive has neither a %s nor a score", containerName)
		}
		warning = fmt.Sprintf("the archive has no %s; %q was read", containerName, name)
	}
	f := find(name)
	if f == nil {
		return nil, "", fmt.Errorf("%s names %q, which is not in the archive", containerName, name)
	}
	if f.UncompressedSize64 > MaxBytes { // what it claims; the source counts what comes
		return nil, "", errTooLong
	}
	root, err = f.Open()
	if err != nil {
		return nil, "", fmt.Errorf("%q in the archive: %w", name, err)
	}
	return root, warning, nil
}

// rootName returns the full-path of the first root file that is a score.
func rootName(f *zip.File) (string, error) {
	rc, err := f.Open()
	if err != nil {
		return "", fmt.Errorf("%s: %w", containerName, err)
	}
	defer rc.Close()
	src, wide, err := newSource(bufio.NewReader(rc))
	if err != nil {
		return "", fmt.Errorf("%s: %w", containerName, err)
	}
	t := newTokens(src, wide, containerName)
	first, found := "", ""
	_, err = t.root()
	if err == nil {
		err = t.each(func(name string) error {
			if name != "rootfiles" {
				return nil
			}
			return t.each(func(name string) error {
				if name != "rootfile" {
					return nil
				}
				path, media := t.attr("full-path"), t.attr("media-type")
				if first == "" {
					first = path
				}
				if found == "" && (media == "" || media == scoreType || media == "application/xml" || media == "text/xml") {
					found = path
				}
				return nil
			})
		})
	}
	var at *Error
	switch {
	case errors.As(err, &at):
		return "", fmt.Errorf("%s: line %d:%d: %s", containerName, at.Line, at.Col, at.Msg)
	case found == "" && first == "":
		return "", fmt.Errorf("%s names no root file", containerName)
	case found == "":
		return "", fmt.Errorf("%s names no score, only %q and the like", containerName, first)
	}
	return found, nil
}
