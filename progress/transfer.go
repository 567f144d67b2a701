package progress

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// A kept table is what is written out of one table and read back: its columns by the names by which they are known on every
// machine, in an order in which what is pointed to comes first. A count that is kept with the answers isn't written; it comes
// of itself.
type keptTable struct {
	name    string
	key     string // the column by which a row is known
	columns []string
	query   string // of the columns, in their order; its argument is the learner, or NULL for all
	// insert adds a row unless its key is there. Its arguments are the columns.
	insert string
	// same gives a count of rows that are as the columns say; "" if nothing but the key matters.
	same string
	// settle brings in what may have been added to a row since, such as an end; its arguments are the columns.
	settle string
}

// Numbers are written as text, since a seed has 64 bits and a reader of JSON may have 53.
var keptTables = []keptTable{
	{
		name: "learners", key: "name", columns: []string{"name"},
		query:  "SELECT name FROM learner WHERE ?1 IS NULL OR id = ?1 ORDER BY name",
		insert: "INSERT INTO learner (name) VALUES (?1) ON CONFLICT DO NOTHING",
	},
	{
		name: "sessions", key: "id", columns: []string{"id", "learner", "kind", "mode", "seed", "source", "settings", "started_at", "ended_at"},
		query: `SELECT s.uid, l.name, s.kind, s.mode, s.seed, s.source, s.settings, s.started_at, s.ended_at FROM session AS s JOIN learner AS l ON l.id = s.learner_id
			WHERE ?1 IS NULL OR s.learner_id = ?1 ORDER BY s.uid`,
		insert: `INSERT INTO session (uid, learner_id, kind, mode, seed, source, settings, started_at, ended_at)
			SELECT ?1, id, ?3, ?4, CAST(?5 AS INTEGER), ?6, ?7, CAST(?8 AS INTEGER), CAST(?9 AS INTEGER) FROM learner WHERE name = ?2 ON CONFLICT DO NOTHING`,
		same: `SELECT count(*) FROM session AS s JOIN learner AS l ON l.id = s.learner_id WHERE s.uid = ?1 AND l.name = ?2 AND s.kind = ?3 AND s.mode = ?4
			AND s.seed = CAST(?5 AS INTEGER) AND s.source = ?6 AND s.settings = ?7 AND s.started_at = CAST(?8 AS INTEGER)`,
		settle: "UPDATE session SET ended_at = CAST(?9 AS INTEGER) WHERE uid = ?1 AND ended_at IS NULL AND ?9 IS NOT NULL",
	},
	{
		name: "answers", key: "id", columns: []string{"id", "session", "number", "question", "mode", "kind", "expected", "given", "correct", "answer_ms", "replays", "asked_at", "answered_at", "condition", "detail"},
		query: `SELECT a.uid, s.uid, a.number, a.question, a.mode, l.kind, l.text, g.text, a.correct, a.answer_ms, a.replays, a.asked_at, a.answered_at, c.text, a.detail
			FROM answer AS a JOIN session AS s ON s.id = a.session_id JOIN label AS l ON l.id = a.label_id LEFT JOIN label AS g ON g.id = a.given_id
			LEFT JOIN condition AS c ON c.id = a.condition_id WHERE ?1 IS NULL OR a.learner_id = ?1 ORDER BY a.uid`,
		insert: `INSERT INTO answer (uid, session_id, learner_id, number, question, mode, label_id, given_id, correct, answer_ms, replays, asked_at, answered_at, condition_id, detail)
			SELECT ?1, id, learner_id, CAST(?3 AS INTEGER), ?4, ?5, (SELECT id FROM label WHERE kind = ?6 AND text = ?7), (SELECT id FROM label WHERE kind = ?6 AND text = ?8),
				CAST(?9 AS INTEGER), CAST(?10 AS INTEGER), CAST(?11 AS INTEGER), CAST(?12 AS INTEGER), CAST(?13 AS INTEGER), (SELECT id FROM condition WHERE text = ?14), ?15
			FROM session WHERE uid = ?2 ON CONFLICT (uid) DO NOTHING`,
		same: `SELECT count(*) FROM answer AS a JOIN session AS s ON s.id = a.session_id JOIN label AS l ON l.id = a.label_id LEFT JOIN label AS g ON g.id = a.given_id
			WHERE a.uid = ?1 AND s.uid = ?2 AND a.number = CAST(?3 AS INTEGER) AND a.question = ?4 AND a.mode = ?5 AND l.kind = ?6 AND l.text = ?7 AND g.text IS ?8
			AND a.correct = CAST(?9 AS INTEGER) AND a.answer_ms = CAST(?10 AS INTEGER) AND a.replays = CAST(?11 AS INTEGER) AND a.asked_at = CAST(?12 AS INTEGER)
			AND a.answered_at = CAST(?13 AS INTEGER) AND (SELECT text FROM condition WHERE id = a.condition_id) IS ?14 AND a.detail = ?15`,
	},
	{
		name: "ear_claims", key: "key", columns: []string{"key", "passage", "place", "statement", "form"},
		query: `SELECT key, passage, place, statement, form FROM ear_claim AS c
			WHERE ?1 IS NULL OR EXISTS (SELECT 1 FROM ear_try AS t WHERE t.claim_id = c.id AND t.learner_id = ?1) ORDER BY key`,
		insert: "INSERT INTO ear_claim (key, passage, place, statement, form) VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
	},
	{
		name: "ear_tries", key: "id", columns: []string{"id", "claim", "learner", "seed", "began_at", "verdict", "decided_at"},
		query: `SELECT t.uid, c.key, l.name, t.seed, t.began_at, t.verdict, t.decided_at FROM ear_try AS t JOIN ear_claim AS c ON c.id = t.claim_id JOIN learner AS l ON l.id = t.learner_id
			WHERE ?1 IS NULL OR t.learner_id = ?1 ORDER BY t.uid`,
		insert: `INSERT INTO ear_try (uid, claim_id, learner_id, seed, began_at, verdict, decided_at)
			SELECT ?1, c.id, l.id, CAST(?4 AS INTEGER), CAST(?5 AS INTEGER), ?6, CAST(?7 AS INTEGER) FROM ear_claim AS c, learner AS l WHERE c.key = ?2 AND l.name = ?3 ON CONFLICT DO NOTHING`,
		same: `SELECT count(*) FROM ear_try AS t JOIN ear_claim AS c ON c.id = t.claim_id JOIN learner AS l ON l.id = t.learner_id
			WHERE t.uid = ?1 AND c.key = ?2 AND l.name = ?3 AND t.seed = CAST(?4 AS INTEGER) AND t.began_at = CAST(?5 AS INTEGER)`,
		settle: "UPDATE ear_try SET verdict = ?6, decided_at = CAST(?7 AS INTEGER) WHERE uid = ?1 AND verdict = '' AND ?6 <> ''",
	},
	{
		name: "ear_answers", key: "id", columns: []string{"id", "try", "number", "task", "expected", "given", "correct", "answer_ms", "replays", "asked_at", "answered_at", "detail"},
		query: `SELECT a.uid, t.uid, a.number, a.task, a.expected, a.given, a.correct, a.answer_ms, a.replays, a.asked_at, a.answered_at, a.detail
			FROM ear_answer AS a JOIN ear_try AS t ON t.id = a.try_id WHERE ?1 IS NULL OR t.learner_id = ?1 ORDER BY a.uid`,
		insert: `INSERT INTO ear_answer (uid, try_id, number, task, expected, given, correct, answer_ms, replays, asked_at, answered_at, detail)
			SELECT ?1, id, CAST(?3 AS INTEGER), ?4, ?5, ?6, CAST(?7 AS INTEGER), CAST(?8 AS INTEGER), CAST(?9 AS INTEGER), CAST(?10 AS INTEGER), CAST(?11 AS INTEGER), ?12
			FROM ear_try WHERE uid = ?2 ON CONFLICT (uid) DO NOTHING`,
		same: `SELECT count(*) FROM ear_answer AS a JOIN ear_try AS t ON t.id = a.try_id WHERE a.uid = ?1 AND t.uid = ?2 AND a.number = CAST(?3 AS INTEGER) AND a.task = ?4
			AND a.expected = ?5 AND a.given = ?6 AND a.correct = CAST(?7 AS INTEGER) AND a.asked_at = CAST(?10 AS INTEGER) AND a.answered_at = CAST(?11 AS INTEGER)`,
	},
}

// nullable are the columns that may have nothing in them, which in CSV is an empty field: none of them may be an empty text.
var nullable = []string{"ended_at", "decided_at", "condition"}

// exportFormat and exportVersion head an export, so that nothing else is taken for one, and a later one for an earlier.
const (
	exportFormat  = "plumbline progress"
	exportVersion = 1
)

// ErrNotExport: what is to be read isn't an export of ours.
var ErrNotExport = errors.New("not an export of plumbline's progress")

// rows hands over what is kept, table by table, as one moment has it; a nil value is nothing.
func (s *Store) rows(ctx context.Context, everybody bool, begin func(keptTable) error, row func([]*string) error) error {
	var who any = s.learner
	if everybody {
		who = nil
	}
	return s.reading(ctx, func(r reader) error {
		for _, t := range keptTables {
			if err := begin(t); err != nil {
				return err
			}
			values := make([]sql.NullString, len(t.columns))
			dest, out := make([]any, len(values)), make([]*string, len(values))
			for i := range values {
				dest[i] = &values[i]
			}
			err := each(ctx, r.conn, t.query, []any{who}, func(rows *sql.Rows) error {
				if err := rows.Scan(dest...); err != nil {
					return err
				}
				for i := range values {
					if out[i] = nil; values[i].Valid {
						out[i] = &values[i].String
					}
				}
				return row(out)
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// ExportJSON writes all that is kept of the learner, or of everybody, as one JSON object: "format", "version", and a list of
// objects for each table. Numbers are written as text, nothing as null. Reading it with [Store.Import] gives the same rows.
func (s *Store) ExportJSON(ctx context.Context, w io.Writer, everybody bool) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "{\"format\": %q, \"version\": %d", exportFormat, exportVersion)
	first := true
	var table keptTable
	open := false
	err := s.rows(ctx, everybody, func(t keptTable) error {
		if open {
			b.WriteString("\n]")
		}
		table, first, open = t, true, true
		_, err := fmt.Fprintf(b, ",\n%q: [", t.name)
		return err
	}, func(values []*string) error {
		if !first {
			b.WriteByte(',')
		}
		first = false
		b.WriteString("\n{")
		for i, v := range values {
			if i > 0 {
				b.WriteString(", ")
			}
			text := []byte("null")
			if v != nil {
				var buf bytes.Buffer
				enc := json.NewEncoder(&buf)
				enc.SetEscapeHTML(false)
				if err := enc.Encode(*v); err != nil {
					return err
				}
				text = bytes.TrimRight(buf.Bytes(), "\n")
			}
			fmt.Fprintf(b, "%q: %s", table.columns[i], text)
		}
		return b.WriteByte('}')
	})
	if err != nil {
		return err
	}
	b.WriteString("\n]}\n")
	return b.Flush()
}

// ExportCSV writes the same into a folder, one file for each table, answers.csv among them; each begins with a line of the
// names of the columns (RFC 4180, with line feeds alone). A field with nothing in it is empty. The folder is made if need be.
func (s *Store) ExportCSV(ctx context.Context, dir string, everybody bool) (err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("progress: exporting to %q: %w", dir, err)
	}
	var f *os.File
	var w *csv.Writer
	finish := func() error {
		if f == nil {
			return nil
		}
		w.Flush()
		err := errors.Join(w.Error(), f.Sync(), f.Close())
		f = nil
		return err
	}
	defer func() { err = errors.Join(err, finish()) }()
	var record []string
	return s.rows(ctx, everybody, func(t keptTable) error {
		if err := finish(); err != nil {
			return err
		}
		var err error
		if f, err = os.OpenFile(filepath.Join(dir, t.name+".csv"), os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600); err != nil {
			return err
		}
		w = csv.NewWriter(f)
		return w.Write(t.columns)
	}, func(values []*string) error {
		record = record[:0]
		for _, v := range values {
			if v == nil {
				record = append(record, "")
			} else {
				record = append(record, *v)
			}
		}
		return w.Write(record)
	})
}

// An Imported tells what came of an import.
type Imported struct {
	Answers, New int // read, and of these not here before
	Sessions     int // not here before
	EarAnswers   int // of claims by ear, not here before
	// Differing are rows of the same ID that are not the same here and there: those here were kept. There should be none.
	Differing []string
}

// Import reads an export, a file of JSON or a folder of CSV files, and adds what isn't here. What is here already, by its ID,
// is not added again, so that two machines can be brought together in any order and as often as one likes. rename, if not
// empty, is the learner under whose name the nameless one's rows are put. All of it comes in or, after an error, nothing.
//
// It returns an error wrapping [ErrNotExport] if path holds something else, with the line or field at fault.
func (s *Store) Import(ctx context.Context, path, rename string) (Imported, error) {
	info, err := os.Stat(path)
	if err != nil {
		return Imported{}, fmt.Errorf("progress: importing: %w", err)
	}
	read := readJSON
	if info.IsDir() {
		read = readCSV
	}
	var im Imported
	err = s.write(context.WithoutCancel(ctx), func(ctx context.Context, tx *sql.Tx) error {
		im = Imported{}
		in := &importer{ctx: ctx, tx: tx, rename: strings.Join(strings.Fields(clean(rename)), " "), im: &im}
		return errors.Join(read(path, in), in.close())
	})
	if err != nil {
		var plain *importError
		if errors.As(err, &plain) || errors.Is(err, os.ErrNotExist) {
			return Imported{}, fmt.Errorf("progress: importing %q: %w; nothing was added", path, err)
		}
		return Imported{}, explain(s.path, fmt.Sprintf("importing %q into", path), err)
	}
	return im, nil
}

// importError is something wrong with what is read.
type importError struct{ msg string }

func (e *importError) Error() string { return e.msg }
func (e *importError) Unwrap() error { return ErrNotExport }

func badImport(format string, a ...any) error { return &importError{fmt.Sprintf(format, a...)} }

// importer puts rows in, with prepared statements.
type importer struct {
	ctx    context.Context
	tx     *sql.Tx
	rename string
	im     *Imported
	ready  map[string]*sql.Stmt
}

func (in *importer) close() error {
	var err error
	for _, st := range in.ready {
		err = errors.Join(err, st.Close())
	}
	return err
}

// run runs a statement with as many of the arguments as it has places for; they are in order, and the last ones may not
// matter to it.
func (in *importer) run(query string, args []any) (int64, error) {
	for n := len(args); n > 0 && !strings.Contains(query, "?"+strconv.Itoa(n)); n-- {
		args = args[:n-1]
	}
	st, ok := in.ready[query]
	if !ok {
		var err error
		if st, err = in.tx.PrepareContext(in.ctx, query); err != nil {
			return 0, err
		}
		if in.ready == nil {
			in.ready = map[string]*sql.Stmt{}
		}
		in.ready[query] = st
	}
	if strings.HasPrefix(query, "SELECT") {
		var n int64
		err := st.QueryRowContext(in.ctx, args...).Scan(&n)
		return n, err
	}
	res, err := st.ExecContext(in.ctx, args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

// numbers are the columns that hold whole numbers.
var numbers = []string{"seed", "started_at", "ended_at", "number", "correct", "answer_ms", "replays", "asked_at", "answered_at", "began_at", "decided_at"}

// row takes in one row; where says where it stands.
func (in *importer) row(t keptTable, values []*string, where string) error {
	for i, c := range t.columns {
		if values[i] == nil {
			if !slices.Contains(nullable, c) && !(t.name == "answers" && c == "given") {
				return badImport("%s: no %q", where, c)
			}
			continue
		}
		if slices.Contains(numbers, c) {
			if _, err := strconv.ParseInt(*values[i], 10, 64); err != nil {
				return badImport("%s: %q is %q; want a whole number", where, c, *values[i])
			}
		}
		if (c == "learner" || t.name == "learners") && *values[i] == "" {
			values[i] = &in.rename
		}
	}
	args := make([]any, len(values))
	for i, v := range values {
		if v != nil {
			args[i] = *v
		}
	}
	if t.name == "answers" {
		in.im.Answers++
		for _, label := range []int{6, 7} {
			if args[label] != nil {
				if _, err := in.run("INSERT INTO label (kind, text) VALUES (?1, ?2) ON CONFLICT DO NOTHING", []any{args[5], args[label]}); err != nil {
					return fmt.Errorf("%s: %w", where, err)
				}
			}
		}
		if args[13] != nil {
			if _, err := in.run("INSERT INTO condition (text) VALUES (?1) ON CONFLICT DO NOTHING", []any{args[13]}); err != nil {
				return fmt.Errorf("%s: %w", where, err)
			}
		}
	}
	n, err := in.run(t.insert, args)
	if err != nil {
		return badImport("%s: %v", where, err)
	}
	if n == 1 {
		switch t.name {
		case "answers":
			in.im.New++
		case "sessions":
			in.im.Sessions++
		case "ear_answers":
			in.im.EarAnswers++
		}
		return nil
	}
	if t.settle != "" {
		if _, err := in.run(t.settle, args); err != nil {
			return badImport("%s: %v", where, err)
		}
	}
	if t.same == "" {
		return nil
	}
	if n, err = in.run(t.same, args); err != nil {
		return fmt.Errorf("%s: %w", where, err)
	}
	if n == 0 {
		// Not there, so what it belongs to is missing; or there and not the same.
		var there int64
		column := map[string]string{"sessions": "session", "answers": "answer", "ear_tries": "ear_try", "ear_answers": "ear_answer"}[t.name]
		if there, err = in.run("SELECT count(*) FROM "+column+" WHERE uid = ?1", args[:1]); err != nil {
			return err
		}
		if there == 0 {
			return badImport("%s: what it belongs to, %q, is not in the export", where, *values[1])
		}
		in.im.Differing = append(in.im.Differing, fmt.Sprintf("%s %s", t.name, *values[0]))
	}
	return nil
}

// readJSON reads an export of JSON bit by bit.
func readJSON(path string, in *importer) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	dec := json.NewDecoder(bufio.NewReaderSize(f, 1<<16))
	at := func() string { return fmt.Sprintf("byte %d", dec.InputOffset()) }
	want := func(d json.Delim) error {
		if tok, err := dec.Token(); err != nil || tok != d {
			return badImport("%s: want %q", at(), d.String())
		}
		return nil
	}
	if err := want('{'); err != nil {
		return err
	}
	headed := false
	seen := map[string]bool{}
	for dec.More() {
		tok, err := dec.Token()
		name, ok := tok.(string)
		if err != nil || !ok {
			return badImport("%s: want a name", at())
		}
		switch name {
		case "format":
			if tok, err := dec.Token(); err != nil || tok != exportFormat {
				return badImport("%s: \"format\" is %v; want %q", at(), tok, exportFormat)
			}
			headed = true
			continue
		case "version":
			tok, err := dec.Token()
			if v, ok := tok.(float64); err != nil || !ok || v != exportVersion {
				return badImport("version %v; this program reads version %d: update plumbline", tok, exportVersion)
			}
			continue
		}
		i := slices.IndexFunc(keptTables, func(t keptTable) bool { return t.name == name })
		if i < 0 || !headed || seen[name] {
			return badImport("%s: %q is not expected here", at(), name)
		}
		seen[name] = true
		t := keptTables[i]
		if err := want('['); err != nil {
			return err
		}
		for n := 1; dec.More(); n++ {
			var row map[string]*string
			if err := dec.Decode(&row); err != nil {
				return badImport("%s, row %d: %v", name, n, err)
			}
			values := make([]*string, len(t.columns))
			for i, c := range t.columns {
				values[i] = row[c]
				delete(row, c)
			}
			for c := range row {
				return badImport("%s, row %d: %q is not expected here", name, n, c)
			}
			if err := in.row(t, values, fmt.Sprintf("%s, row %d", name, n)); err != nil {
				return err
			}
		}
		if err := want(']'); err != nil {
			return err
		}
	}
	if err := want('}'); err != nil {
		return err
	}
	if !headed || len(seen) != len(keptTables) {
		return badImport("it is cut off: %d of %d lists are there", len(seen), len(keptTables))
	}
	return nil
}

// readCSV reads a folder of CSV files.
func readCSV(dir string, in *importer) error {
	for _, t := range keptTables {
		if err := readTable(filepath.Join(dir, t.name+".csv"), t, in); err != nil {
			return err
		}
	}
	return nil
}

func readTable(path string, t keptTable, in *importer) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	r := csv.NewReader(bufio.NewReaderSize(f, 1<<16))
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil || !slices.Equal(head, t.columns) {
		return badImport("%s.csv: the first line is %q; want %q", t.name, strings.Join(head, ","), strings.Join(t.columns, ","))
	}
	for {
		record, err := r.Read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return badImport("%s.csv: %v", t.name, err)
		}
		line, _ := r.FieldPos(0)
		values := make([]*string, len(record))
		for i := range record {
			if c := t.columns[i]; record[i] != "" || !slices.Contains(nullable, c) && !(t.name == "answers" && c == "given") {
				v := record[i]
				values[i] = &v
			}
		}
		if err := in.row(t, values, fmt.Sprintf("%s.csv, line %d", t.name, line)); err != nil {
			return err
		}
	}
}
