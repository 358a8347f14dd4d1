package config

import (
	_ "embed" // the demo's two files
	"fmt"

	"github.com/spf13/pflag"
)

var (
	//go:embed demo/bench.yaml
	demoBench []byte
	//go:embed demo/recipe.yaml
	demoRecipe []byte
)

// DemoBench returns the invented bench that the simulated one behaves like, under
// the environment and the flags (which may be nil). Its serial port is the word
// "simulated", to be replaced by where the simulation listens.
func DemoBench(flags *pflag.FlagSet) (*Bench, error) {
	return ParseBench("demo/bench.yaml", demoBench, flags)
}

// DemoRecipe returns the invented recipe of the demo.
func DemoRecipe() *Recipe {
	r, err := ParseRecipe("demo/recipe.yaml", demoRecipe)
	if err != nil {
		panic(fmt.Sprintf("the built-in recipe is wrong: %v", err)) // a test reads it
	}
	return r
}
