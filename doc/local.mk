# Manual page, references, licence.
