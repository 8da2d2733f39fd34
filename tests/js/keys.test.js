// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";

globalThis.Element = class {
  constructor(/** @type {string} */ name = "") { this.name = name; }
  closest(/** @type {string} */ css) {
    return css.split(", ").some((one) => one.split("[")[0] === this.name) ? this : null;
  }
};
globalThis.document = { querySelector: () => null };
const { meaning } = await import("../../static/js/keys.js");
const key = (name, over = {}) => meaning({ key: name, target: null, ...over });

test("a clicker's keys start and stop, two of them mark a part", () => {
  const taps = [" ", "Enter", "PageDown", "PageUp", "ArrowRight", "ArrowDown"];
  for (const name of taps) assert.equal(key(name), "tap", name);
  for (const name of ["ArrowLeft", "ArrowUp"]) assert.equal(key(name), "split", name);
  for (const name of ["a", "Tab", "Escape", "1"]) assert.equal(key(name), null, name);
});

test("a held key, a key another took, and a shortcut are none", () => {
  const held = [{ repeat: true }, { defaultPrevented: true }, { ctrlKey: true },
    { altKey: true }, { metaKey: true }];
  for (const over of held) assert.equal(key("Enter", over), null, JSON.stringify(over));
});

test("typing in a field is no key of the stopwatch", () => {
  for (const name of ["input", "select", "textarea"]) {
    for (const pressed of ["Enter", " ", "PageDown", "ArrowLeft"]) {
      assert.equal(key(pressed, { target: new Element(name) }), null, name);
    }
  }
});

test("space and enter on a control work the control, page keys still time", () => {
  for (const name of ["button", "summary", "a"]) {
    assert.equal(key("Enter", { target: new Element(name) }), null, name);
    assert.equal(key("PageDown", { target: new Element(name) }), "tap", name);
  }
});

test("no key times under an open dialog", () => {
  document.querySelector = () => ({});
  assert.equal(key("PageDown"), null);
  document.querySelector = () => null;
});
