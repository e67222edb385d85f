// Reads captions with webvtt-parser; any error it reports fails.
const { readFileSync } = require('fs');
const { WebVTTParser } = require('webvtt-parser');
const tree = new WebVTTParser().parse(readFileSync(process.argv[2], 'utf8'), 'metadata');
if (tree.errors.length) {
  console.error(JSON.stringify(tree.errors));
  process.exit(1);
}
console.log(`${tree.cues.length} cues, first at ${tree.cues[0].startTime}`);
