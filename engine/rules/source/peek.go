package source

// IsTable tells whether a table stands at a key. It does not count as asking.
func (t *Table) IsTable(key string) bool {
	v := t.values[key]
	return v != nil && v.kind == table
}

// Asked walks the file and gives for each table that was read its path, without
// numbers, and every key that was asked for there.
func (t *Table) Asked(see func(path string, keys []string)) { t.walk("", see) }

func (t *Table) walk(path string, see func(path string, keys []string)) {
	see(path, t.known)
	for _, key := range t.order {
		inner := key
		if path != "" {
			inner = path + "." + key
		}
		t.values[key].walk(inner, see)
	}
}

func (v *value) walk(path string, see func(path string, keys []string)) {
	switch v.kind {
	case table:
		v.table.walk(path, see)
	case list:
		for _, item := range v.list {
			item.walk(path, see)
		}
	}
}
