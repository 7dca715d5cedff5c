// What an answer about a photo means, which photo may go, what it may show, and its name as a file.
import { classify } from "./protocol.js";

export const MOST_BYTES = 15e6;

// As for acts; a photo's receipt names the photo.
export const classifyPhoto = (status, json, id, database) => classify(status, json && { ...json, act: json.photo, entry: json.photo }, id, database);

// A refused one waits for a person; one of somebody else goes when that person has signed in; none before its check.
export const mayGo = ({ problem, by, about }, user, waiting) => (!problem || (problem.code === "other_person" && by === user)) && !waiting.has(about.check);

export const fileName = ({ made_at, name, blob }) => name || `photo-${made_at.slice(0, 19).replace(/\D/g, "")}.${blob.type === "image/jpeg" ? "jpg" : blob.type.split("/")[1] || "bin"}`;

// What a photo at this station may show beside it: [{about, words}], and holes by pattern.
export function subjects({ check, defects = [], holes = [] }, { station, kind }) {
  const here = { check, station, kind };
  return {
    shown: [{ about: here, words: `station ${station} ${kind}` }, ...defects.map(({ id, label, title }) => ({ about: { ...here, nonconformance: id }, words: `${label} ${title}` }))],
    patterns: holes.map(({ id, label, holes: names }) => ({ label, holes: names.map((hole) => ({ about: { check, pattern: id, hole }, short: hole, words: `hole ${hole} of ${label}` })) })),
  };
}
