"""The reviewer's folder: review file, chapters, own words, video, fingerprints of what it holds."""
