// The owner's page works without this. With it a phone keeps one copy for when there is no connection (owner/worker.js).
const { copy, worker } = document.documentElement.dataset;
if (copy === "forget" && "caches" in self) caches.delete("owner-copy");
if (copy === "keep" && "serviceWorker" in navigator) navigator.serviceWorker.register(worker).catch(() => {});
