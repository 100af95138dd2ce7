package reading

type commands struct{}

func loadCommands(f *file) (commands, error) { return commands{}, nil }
