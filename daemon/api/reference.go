package api

import (
	_ "embed" // the comments and the examples
	"encoding/json"
	"net/http"
	"sync"

	"meltwarden/daemon/describe"
)

// openAPIPath is where the document is.
const openAPIPath = "/api/v1/openapi.json"

// The comments of the code about what is answered with, and answers of an invented bench.
// Tests hold both against the code and write them anew with -update.
var (
	//go:embed reference-comments.json
	commentsFile []byte
	//go:embed reference-examples.json
	examplesFile []byte
)

func comments() (words describe.Words) {
	mustRead(commentsFile, &words)
	return words
}

func examples() (answers map[string]json.RawMessage) {
	mustRead(examplesFile, &answers)
	return answers
}

// mustRead reads a file of this program's own, which its tests have read.
func mustRead(file []byte, into any) {
	if err := json.Unmarshal(file, into); err != nil {
		panic(err)
	}
}

// OpenAPI is the description of the API in OpenAPI 3.1, as JSON.
var OpenAPI = sync.OnceValue(func() []byte {
	document, _ := described().Document()
	text, err := json.MarshalIndent(document, "", " ")
	if err != nil {
		panic(err) // it is made of what can be marshalled
	}
	return append(text, '\n')
})

func (s *server) openAPI(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Write(OpenAPI())
}

func referenceOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "GET " + openAPIPath, Group: groupHealth, Does: "This description, in OpenAPI 3.1",
			Answers: []describe.Answer{{Status: 200, MediaType: "application/json", Says: "The description"}},
		},
	}
}
