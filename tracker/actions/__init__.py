"""All writes: one function per thing a person does, one transaction each. Actions never call actions."""
