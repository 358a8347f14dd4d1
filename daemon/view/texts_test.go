package view

import (
	"reflect"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestEveryLabelHasANameOfItsOwn: of two with one name a template finds neither, and its
// page can not be shown.
func TestEveryLabelHasANameOfItsOwn(t *testing.T) {
	seen := map[string]string{}
	labels := reflect.TypeFor[Labels]()
	for _, f := range reflect.VisibleFields(labels) {
		if f.Anonymous {
			continue
		}
		assert.NotContains(t, seen, f.Name, "also in %s", seen[f.Name])
		_, found := labels.FieldByName(f.Name)
		assert.True(t, found, f.Name)
		seen[f.Name] = labels.Field(f.Index[0]).Name
	}
}
