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
	for i := range labels.NumField() {
		group := labels.Field(i)
		names := []string{group.Name}
		if group.Anonymous {
			names = nil
			for j := range group.Type.NumField() {
				names = append(names, group.Type.Field(j).Name)
			}
		}
		for _, name := range names {
			assert.Empty(t, seen[name], "%s of %s", name, group.Name)
			seen[name] = group.Name
		}
	}
}
