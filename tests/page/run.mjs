// Runs the exported tests of the named modules and prints one JSON object: name -> "" or what was wrong. No test framework, no package.
const results = {};
for (const file of process.argv.slice(2)) {
  const { tests } = await import(file);
  for (const [name, test] of Object.entries(tests)) {
    try {
      await test();
      results[name] = '';
    } catch (err) {
      results[name] = String(err.message ?? err);
    }
  }
}
console.log(JSON.stringify(results));
