"""One run: procedure, fixture, trace and judge over injected ports and clock."""
