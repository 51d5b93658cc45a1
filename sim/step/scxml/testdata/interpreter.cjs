// Runs SCXML documents in the interpreter of npm @scion-scxml/scxml: one line
// of JSON a document in, one line of JSON out.
//
// In: {document, inputs: [{at, events: [name]}]}. All events of an input come at
// one moment and are put into the external queue together. A document with data
// called due0, due1, … has timers: for each that is due at a moment or before, an
// event "due" comes at its time, ahead of the events of that moment.
// Out: {error} or {steps: [{event, at, data, said}]}: first after the start, then
// after each event of the inputs, and each other one that a transition was taken
// for: all data, and what was logged, sent to another session or gone wrong since.
"use strict";
const { createInterface } = require("node:readline");
const scxml = require("@scion-scxml/scxml");

const compiled = (document) => new Promise((good, bad) => {
	scxml.documentStringToModel("show.scxml", document, (error, model) => {
		if (error) return bad(error);
		try {
			model.prepare((error, ready) => (error ? bad(error) : good(ready)));
		} catch (error) {
			bad(error);
		}
	});
});

async function run({ document, inputs }) {
	const steps = [];
	let said = [];
	let now = 0;
	const waiting = new Set();
	const chart = new scxml.core.Statechart(await compiled(document), {
		console: { log: (...words) => said.push(words) },
		sessionRegistry: new Map(),
		customSend(event) {
			if (event.target) return void said.push([event.name, event.data]);
			queue(event.name, now, false);
		},
	});
	let taken = false;
	chart.on("onTransition", () => { taken = true; });
	chart.on("onError", (event) => said.push(["error", event.name, String(event.data && event.data.reason)]));
	const data = () => chart.getSnapshot()[3] || {};
	const note = (event, at) => { steps.push({ event, at, data: data(), said }); said = []; taken = false; };
	const queue = (name, at, always) => {
		const done = new Promise((good) => chart.genAsync({ name, data: at }, (error) => {
			if (error) said.push(["error", String(error)]);
			if (always || taken) note(name, at);
			good();
		}));
		waiting.add(done);
		done.then(() => waiting.delete(done));
	};
	const moment = async (at, events) => {
		// The interpreter takes the first event out of its queue as soon as that is
		// in it; so the others are put there when it begins with the first.
		const [first, ...others] = events;
		now = at;
		if (first === undefined) return;
		if (others.length > 0) chart.once("onBigStepBegin", () => others.forEach((name) => queue(name, at, name !== "due")));
		queue(first, at, first !== "due");
		while (waiting.size > 0) await Promise.all(waiting);
	};
	const dues = () => Object.entries(data()).filter(([name, due]) => /^due\d+$/.test(name) && due >= 0).map(([, due]) => due);
	const expired = (at) => dues().filter((due) => due <= at).map(() => "due");
	chart.start();
	note("start", 0);
	for (const { at, events } of inputs) {
		for (let first; (first = Math.min(...dues())) < at;) await moment(first, expired(first));
		await moment(at, [...expired(at), ...events]);
	}
	return { steps };
}

(async () => {
	for await (const line of createInterface({ input: process.stdin })) {
		let answer;
		try {
			answer = await run(JSON.parse(line));
		} catch (error) {
			answer = { error: String((error && error.stack) || error) };
		}
		process.stdout.write(JSON.stringify(answer) + "\n");
	}
})();
