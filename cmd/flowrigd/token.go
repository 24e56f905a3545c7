package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"flowrigd/daq/web"
)

func tokenVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "token",
		Short: "Access tokens of the page and the API: add, list, remove",
		Long: "A token is shown once, when it is added; only its hash is kept, in http.tokens_file.\n" +
			"A running daemon takes a change up by itself.",
		Args: takes(""),
		RunE: asks("token: add, list or remove?"),
	}
	file := c.PersistentFlags().String("config", "", "configuration `FILE`")
	c.AddCommand(tokenAdd(file), tokenList(file), tokenRemove(file))
	return c
}

// tokensFile is the file that a configuration names.
func tokensFile(c *cobra.Command, file string) (string, error) {
	cfg, err := load(c.ErrOrStderr(), file)
	if err != nil {
		return "", err
	}
	return cfg.HTTP.TokensFile, nil
}

func tokenAdd(file *string) *cobra.Command {
	c := &cobra.Command{Use: "add --config FILE --role watch|operate NAME", Short: "Make a token and print it once", Args: takes("the NAME of the person or program that gets it", "config", "role")}
	role := c.Flags().String("role", "", "`ROLE`: watch (read) or operate (read and act)")
	c.RunE = func(c *cobra.Command, args []string) error {
		if *role != "watch" && *role != "operate" {
			return wrongUse{fmt.Errorf("token add: --role %q: write watch (read) or operate (read and act)", *role)}
		}
		if err := web.CheckName(args[0]); err != nil {
			return wrongUse{err}
		}
		path, err := tokensFile(c, *file)
		if err != nil {
			return err
		}
		token, err := web.AddToken(path, args[0], *role)
		if err != nil {
			return err
		}
		if warning := web.Exposed(path); warning != "" {
			fmt.Fprintln(c.ErrOrStderr(), "warning: "+warning)
		}
		_, err = fmt.Fprintln(c.OutOrStdout(), token)
		return err
	}
	return c
}

func tokenList(file *string) *cobra.Command {
	c := &cobra.Command{Use: "list --config FILE", Short: "List names and roles", Args: takes("", "config")}
	c.RunE = func(c *cobra.Command, _ []string) error {
		path, err := tokensFile(c, *file)
		if err != nil {
			return err
		}
		return web.WriteTokens(c.OutOrStdout(), path)
	}
	return c
}

func tokenRemove(file *string) *cobra.Command {
	c := &cobra.Command{Use: "remove --config FILE NAME", Short: "Remove a token", Args: takes("the NAME that it was made for", "config")}
	c.RunE = func(c *cobra.Command, args []string) error {
		path, err := tokensFile(c, *file)
		if err != nil {
			return err
		}
		return web.RemoveToken(path, args[0])
	}
	return c
}
