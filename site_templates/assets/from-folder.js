"use strict";
// A page opened from a folder may not start a worker, and the text search runs in one. Here the worker's
// script runs in an empty frame of the same page instead. On a server this file does nothing.
if (location.protocol === "file:") {
  window.Worker = class extends EventTarget {
    constructor(address) {
      super();
      const frame = document.createElement("iframe");
      frame.hidden = true;
      document.body.append(frame);
      this.frame = frame;
      this.inner = frame.contentWindow;
      const at = new URL(address, location.href);
      const load = (name) => new Promise((done, failed) => {
        const script = this.inner.document.createElement("script");
        script.src = new URL(name, at);
        script.onload = done;
        script.onerror = () => failed(new Error(`cannot load ${script.src}`));
        this.inner.document.head.append(script);
      });
      this.inner.importScripts = (...names) =>
        names.reduce((before, name) => before.then(() => load(name)), Promise.resolve());
      this.inner.postMessage = (data) => this.dispatchEvent(new MessageEvent("message", { data }));
      this.ready = load(at).catch((error) => console.warn(error.message));
    }
    postMessage(data) {
      this.ready.then(() => this.inner.dispatchEvent(new this.inner.MessageEvent("message", { data })));
    }
    terminate() {
      this.frame.remove();
    }
  };
}
