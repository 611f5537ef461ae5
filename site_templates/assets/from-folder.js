"use strict";
// A browser starts no web worker for a page opened from a folder, and the text search runs in one. Here the worker's
// script runs in an empty frame of the page instead. On a server this file does nothing.
if (location.protocol === "file:") {
  window.Worker = class extends EventTarget {
    constructor(url) {
      super();
      const frame = document.createElement("iframe");
      frame.hidden = true;
      document.body.append(frame);
      this.frame = frame;
      this.scope = frame.contentWindow;
      const base = new URL(url, location.href);
      const load = (name) => new Promise((resolve, reject) => {
        const script = this.scope.document.createElement("script");
        script.src = new URL(name, base);
        script.onload = resolve;
        script.onerror = () => reject(new Error(`cannot load ${script.src}`));
        this.scope.document.head.append(script);
      });
      this.scope.importScripts = (...names) =>
        names.reduce((previous, name) => previous.then(() => load(name)), Promise.resolve());
      this.scope.postMessage = (data) => this.dispatchEvent(new MessageEvent("message", { data }));
      this.ready = load(base).catch((error) => console.warn(error.message));
    }
    postMessage(data) {
      this.ready.then(() => this.scope.dispatchEvent(new this.scope.MessageEvent("message", { data })));
    }
    terminate() {
      this.frame.remove();
    }
  };
}
