"""The CO2 trend, settings changes, symptom relations, cohort; frames in, result records out."""
