package view

// ReferenceLabels are the words of the reference of the API.
type ReferenceLabels struct {
	API, APIWhy, APIDocument, APIFrom, WhatOneDoes, WhatIsAnswered, WhatIsWrong                         string
	OnlyHere, Sent, InAddress, InQuery, InForm, NeededField, FieldIs, FieldMeans                        string
	FieldExample, AskLike, AnsweredWith, AnswerLike, ProblemsHere, ProblemsOfAny, LeftOutToo, ItsFields string
}

var referenceLabels = ReferenceLabels{
	API: "API", APIWhy: "What a program can ask of this bench, and what it answers.",
	APIDocument: "The same for programs, in OpenAPI 3.1", APIFrom: "From another computer, with its own name and the token: %s",
	WhatOneDoes: "What one does", WhatIsAnswered: "What is answered with", WhatIsWrong: "Kinds of problem",
	OnlyHere: "on the bench's own computer only", Sent: "What is sent", InAddress: "in the path", InQuery: "after the ?", InForm: "in the form",
	NeededField: "needed", FieldIs: "is", FieldMeans: "What it means", FieldExample: "such as",
	AskLike: "Ask", AnsweredWith: "Answers", AnswerLike: "An answer, its lists cut short", ProblemsHere: "Problems", ProblemsOfAny: "and those of any address", LeftOutToo: "may be left out", ItsFields: "Its fields",
}
