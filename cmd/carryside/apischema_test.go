package main

import (
	"fmt"
	"maps"
	"math"
	"net/url"
	"slices"
	"strings"
	"time"
)

// This file checks answers against the description by hand, so that it is not the library that wrote the description
// which says that they fit: JSON Schema 2020-12, as far as the description uses it.

func urlText(s string) string { return url.QueryEscape(s) }

// jsonText is how a text stands inside a JSON string that does not escape for HTML.
func jsonText(s string) string {
	return strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s)
}

// refs are all references of a tree.
func refs(tree any) []string {
	var out []string
	switch v := tree.(type) {
	case map[string]any:
		for k, of := range v {
			if ref, is := of.(string); is && k == "$ref" {
				out = append(out, ref)
			}
			out = append(out, refs(of)...)
		}
	case []any:
		for _, of := range v {
			out = append(out, refs(of)...)
		}
	}
	return out
}

// find returns what a reference leads to, nil when it leads nowhere.
func (d *description) find(ref string) any {
	var at any = d.tree
	for _, part := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
		of, is := at.(map[string]any)
		if !is {
			return nil
		}
		at = of[strings.NewReplacer("~1", "/", "~0", "~").Replace(part)]
	}
	return at
}

// misfits says where a value does not fit a schema.
func (d *description) misfits(schema map[string]any, value any, at string) []string {
	if ref, is := schema["$ref"].(string); is {
		schema, _ = d.find(ref).(map[string]any)
	}
	if schema == nil {
		return []string{at + ": there is no schema"}
	}
	if kinds := kindsOf(schema["type"]); len(kinds) > 0 && !slices.ContainsFunc(kinds, func(k string) bool { return isOf(k, value) }) {
		return []string{fmt.Sprintf("%s: %v is no %v", at, value, kinds)}
	}
	if of, is := schema["enum"].([]any); is && !slices.Contains(of, value) {
		return []string{fmt.Sprintf("%s: %v is none of %v", at, value, of)}
	}
	switch v := value.(type) {
	case map[string]any:
		return d.objectMisfits(schema, v, at)
	case []any:
		items, _ := schema["items"].(map[string]any)
		var out []string
		for i, one := range v {
			out = append(out, d.misfits(items, one, fmt.Sprintf("%s[%d]", at, i))...)
		}
		return out
	case string:
		return textMisfits(schema, v, at)
	}
	return nil
}

func (d *description) objectMisfits(schema, value map[string]any, at string) []string {
	var out []string
	required, _ := schema["required"].([]any)
	for _, name := range required {
		if _, there := value[name.(string)]; !there {
			out = append(out, fmt.Sprintf("%s: %v is missing", at, name))
		}
	}
	properties, _ := schema["properties"].(map[string]any)
	more, moreIs := schema["additionalProperties"].(map[string]any)
	for _, name := range slices.Sorted(maps.Keys(value)) {
		switch of, known := properties[name].(map[string]any); {
		case known:
			out = append(out, d.misfits(of, value[name], at+"."+name)...)
		case schema["additionalProperties"] == false:
			out = append(out, fmt.Sprintf("%s: %s is not described", at, name))
		case moreIs && len(more) > 0:
			out = append(out, d.misfits(more, value[name], at+"."+name)...)
		}
	}
	return out
}

func textMisfits(schema map[string]any, v, at string) []string {
	switch schema["format"] {
	case "date-time":
		if _, err := time.Parse(time.RFC3339Nano, v); err != nil || !strings.HasSuffix(v, "Z") {
			return []string{fmt.Sprintf("%s: %q is no instant of RFC 3339 in UTC", at, v)}
		}
	case "date":
		if _, err := time.Parse(time.DateOnly, v); err != nil {
			return []string{fmt.Sprintf("%s: %q is no date", at, v)}
		}
	}
	return nil
}

func kindsOf(kind any) []string {
	switch k := kind.(type) {
	case string:
		return []string{k}
	case []any:
		var out []string
		for _, one := range k {
			out = append(out, fmt.Sprint(one))
		}
		return out
	}
	return nil
}

func isOf(kind string, value any) bool {
	switch v := value.(type) {
	case nil:
		return kind == "null"
	case bool:
		return kind == "boolean"
	case string:
		return kind == "string"
	case float64:
		return kind == "number" || kind == "integer" && v == math.Trunc(v)
	case []any:
		return kind == "array"
	case map[string]any:
		return kind == "object"
	}
	return false
}
