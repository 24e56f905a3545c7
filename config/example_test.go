package config_test

import (
	"fmt"

	"flowrigd/config"
)

func ExampleParseQuantity() {
	bore, err := config.ParseQuantity("13.00 mm ± 0.04 mm", config.Length)
	fmt.Println(bore.X, bore.U, err)
	_, err = config.ParseQuantity("42 C", config.Temperature)
	fmt.Println(err)
	// Output:
	// 0.013 2e-05 <nil>
	// "42 C": "C" is not a unit; write one of Cel, °C, K, degF
}

func ExampleParsePattern() {
	reply, _ := config.ParsePattern("T={value} mV")
	number, err := reply.Match([]byte("T= 1.611 mV"))
	fmt.Println(number, err)
	_, err = reply.Match([]byte("T=1.6?1 mV"))
	fmt.Println(err)
	// Output:
	// 1.611 <nil>
	// line: number: "1.6?1" is not a decimal number
}

func ExampleParse() {
	_, problems := config.Parse("rig.toml", []byte("site = \"north-hall\"\nrigg = \"bench-3\"\n"))
	for _, p := range problems[:3] {
		fmt.Println(p)
	}
	// Output:
	// rig.toml:1:1: rig is missing; write rig = "bench-3" at the top of the file
	// rig.toml:1:1: the table [tube] is missing; write [tube] with bore = "13.00 mm ± 0.04 mm" and length = "900 mm"
	// rig.toml:1:1: the table [tank] is missing; write [tank] with lip = "250 mm" and drop = "1.10 m"
}
